"""The simulated bench that answers as the one learned from did."""

from __future__ import annotations

from daemon.learning.write import as_simulation
from daemon.rehearsal import sensor_lag_s
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
