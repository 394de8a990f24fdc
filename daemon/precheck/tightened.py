"""What a plan asks of the guards beyond their defaults: said before heat, so that nobody wonders at night."""

from __future__ import annotations

from collections.abc import Iterator

from daemon.guards.catalogue import make_guards
from daemon.guards.guard import LoosenedThreshold
from daemon.precheck.findings import Finding
from plans.run_plan import RunPlan


def tightened(run: RunPlan) -> Iterator[Finding]:
    """One line for each figure that the plan moves; what would loosen a guard is refused."""
    try:
        guards = make_guards(run.plan.guards)
    except LoosenedThreshold as error:
        yield Finding("guards", "refused", f"Table [guards]: {error}.")
        return
    for guard in guards:
        for key, threshold in guard.thresholds.items():
            if guard.figures[key] != threshold.default:
                yield Finding(
                    "guards",
                    "info",
                    f"The plan tightens the guard {guard.name}: {key} is {guard.figures[key]:g}, by default "
                    f"{threshold.default:g} {threshold.unit}.",
                    value=f"{guard.figures[key]:g}",
                    limit=f"{threshold.default:g} {threshold.unit}",
                    set_by=run.names.plan,
                )
