"""The simulated bench that answers as the one learned from did: for a rehearsal, and beside a record."""

from __future__ import annotations

from dataclasses import replace

from daemon.learning.write import SHORTEST_LAG_S, as_simulation
from daemon.rehearsal import sensor_lag_s
from daemon.stand_in import stand_in
from plans.bench import SimulatedDisplay, Simulation
from plans.errors import PlanError
from plans.learned import Learned
from plans.loading import parse_plan
from plans.reading import refused
from plans.run_plan import RunPlan


def rehearsed_as_learned(run: RunPlan, learned: Learned) -> RunPlan:
    """The same plan on a simulated bench that answers as the one learned from did; raises PlanError."""
    assert run.bench.simulation is not None, "simulated instruments stand in for real ones before"
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
    as shipped, or as it was simulated. Raises PlanError where nothing can stand in.
    """
    stands = run if run.bench.simulation is not None else stand_in(run)
    simulation = stands.bench.simulation
    assert simulation is not None
    if learned is not None:
        simulation = simulation.model_copy(update=_as_learned(simulation, learned))
    return replace(run, bench=stands.bench.model_copy(update={"simulation": simulation}))


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
