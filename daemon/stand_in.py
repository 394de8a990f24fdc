"""A real bench's plan on simulated instruments: plan, ratings and guards are its own, the wires are not."""

from __future__ import annotations

from datetime import datetime

import tomlkit
from tomlkit.items import Table

from plans.bench import Bench
from plans.errors import PlanError
from plans.loading import parse_plan
from plans.reading import refused
from plans.run_plan import RunPlan

MODELS = {"dry_block": "dry_block", "furnace": "furnace"}
OIL_BATH_C = (-35.0, 210.0)  # what the simulated oil bath can do
BESIDE = {"readout": "ascii-readout", "ambient": "text-ambient", "interlocks": "modbus-interlocks"}
SPEAKING = frozenset({"ascii-bath", "modbus-block"})
CONVERSION_S, CHANNELS = 1.0, 8  # of the simulated bridges


def model_for(bench: Bench) -> str:
    """Which simulated source answers most like this bench's: its own on a simulated bench."""
    if bench.simulation is not None:
        return bench.simulation.model
    if bench.fluid is None:
        return MODELS[bench.heat_source.kind]
    if bench.fluid.kind == "salt":
        return "salt_bath"
    low, high = OIL_BATH_C
    within = bench.heat_source.minimum_c >= low and bench.heat_source.maximum_c <= high
    return "oil_bath" if within else "wide_bath"


def stand_in(run: RunPlan, start_utc: datetime | None = None) -> RunPlan:
    """The same plan with simulated instruments in place of the real ones; raises PlanError.

    The simulated bridge takes its own time for a conversion. A night begins at `start_utc`, else on the
    simulation's own day.
    """
    bench = tomlkit.parse(run.texts.bench)
    source = _table(bench, "heat_source")
    if source["profile"] not in SPEAKING:
        source["profile"] = "ascii-bath" if run.bench.fluid is not None else "modbus-block"
    source["address"] = "simulated:source"
    bridge = _table(bench, "bridge")
    bridge.update({"address": "simulated:bridge", "integration_s": CONVERSION_S})
    bridge.pop("range_ohm", None)
    if run.bench.bridge.resistor is None:
        bridge.update({"profile": "text-bridge", "channels": min(run.bench.channels, CHANNELS)})
        bench.pop("scanner", None)
    else:
        bridge["profile"] = "text-ratio-bridge"
        scanner = {"profile": "text-scanner", "address": "simulated:scanner", "channels": run.bench.channels}
        bench["scanner"] = scanner
    for role in run.bench.beside:
        _table(bench, role).update({"profile": BESIDE[role], "address": f"simulated:{role}"})
    simulation: dict[str, object] = {"model": model_for(run.bench)}
    if start_utc is not None:
        simulation["start_utc"] = start_utc.replace(microsecond=0)
    bench["simulation"] = simulation
    try:
        return parse_plan(run.texts.plan, tomlkit.dumps(bench), run.texts.register, run.names)
    except PlanError as error:
        sentence = f"simulated instruments cannot stand in for those of this bench ({error})."
        raise refused(run.names.bench, sentence) from error


def _table(bench: tomlkit.TOMLDocument, name: str) -> Table:
    found = bench[name]
    assert isinstance(found, Table)
    return found
