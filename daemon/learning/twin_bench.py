"""The simulated bench that answers as the one learned from did: for a rehearsal, and beside a record."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from daemon.learning.response import SHIPPED
from daemon.learning.write import SHORTEST_LAG_S, as_simulation
from daemon.rehearsal import sensor_lag_s
from plans.bench import SimulatedDisplay, Simulation
from plans.errors import PlanError
from plans.learned import Learned
from plans.loading import parse_plan
from plans.reading import refused
from plans.run_plan import RunPlan


def rehearsed_as_learned(run: RunPlan, learned: Learned) -> RunPlan:
    """The same plan on a simulated bench that answers as the one learned from did; raises PlanError."""
    assert run.bench.simulation is not None, "a rehearsal on a real bench is refused before"
    added = as_simulation(learned, sensor_lag_s(run.bench.simulation.model))
    bench = f"{run.texts.bench.rstrip()}\n{added}"
    try:
        return parse_plan(run.texts.plan, bench, run.texts.register, run.names)
    except PlanError as error:
        sentence = f"with what was learned it cannot be read; take its own learned tables out ({error})."
        raise refused(run.names.bench, sentence) from error


def beside_the_record(run: RunPlan, learned: Learned | None) -> RunPlan:
    """The same run on simulated instruments, whatever stands on its bench, answering as learned.

    Only for what is thrown away afterwards: the texts stay those of the run. Without a lesson the source is
    as shipped, or as it was simulated.
    """
    bench = run.bench
    simulation = bench.simulation or Simulation.model_validate({"model": SHIPPED[bench.heat_source.kind]})
    if learned is not None:
        simulation = simulation.model_copy(update=_as_learned(simulation, learned))
    update: dict[str, Any] = {"simulation": simulation}
    if bench.simulation is None:
        profile = "ascii-bath" if bench.heat_source.kind == "stirred_bath" else "modbus-block"
        parts = {"heat_source": profile, "bridge": "text-bridge", **_BESIDE}
        update |= {
            name: part.model_copy(
                update={"profile": profile, "address": f"simulated:{_PLACE.get(name, name)}"}
            )
            for name, profile in parts.items()
            if (part := getattr(bench, name)) is not None
        }
        # One bridge with channels of its own stands in for whatever reads ohms on the real bench.
        whole = update["bridge"].model_copy(update={"resistor": None, "range_ohm": None})
        update |= {"scanner": None, "bridge": whole}
    return replace(run, bench=bench.model_copy(update=update))


_PLACE = {"heat_source": "source"}
_BESIDE = {"readout": "ascii-readout", "ambient": "text-ambient", "interlocks": "modbus-interlocks"}


def _as_learned(simulation: Simulation, learned: Learned) -> dict[str, object]:
    lag_s = sensor_lag_s(simulation.model)
    lags_s = {lag.serial: max(lag.lag_s.value + lag_s, SHORTEST_LAG_S) for lag in learned.probes}
    told: dict[str, object] = {"lags_s": simulation.lags_s | lags_s}
    if learned.response:
        told["response"] = {part: figure.value for part, figure in learned.response.items()}
    if learned.display is not None:
        shown = learned.display
        told["display"] = SimulatedDisplay(offset_k=shown.offset_k.value, slope=shown.slope.value)
    return told
