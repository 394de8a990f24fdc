"""What the results will be worth: check standard, hysteresis, enough points, criteria the source can meet."""

from __future__ import annotations

from collections.abc import Iterator

from daemon.precheck.findings import Finding, degrees, named
from plans.run_plan import RunPlan
from plans.settings import usual
from plans.unroll import Step, measuring_steps

FEWEST_TEMPERATURES = 4  # common practice, no source: coefficients plus two, for two coefficients
TIGHT = 0.5  # common practice, no source: half the usual figure asks more than most sources give
LONGEST_S = 72 * 3600.0  # common practice, no source


def quality(run: RunPlan) -> Iterator[Finding]:
    """Cautions only: nothing here is dangerous."""
    steps = measuring_steps(run)
    if all(item.role == "item" for item in run.plan.items):
        sentence = (
            "Neither a check standard nor a further reference is in the run: a failing reference would not "
            "be noticed."
        )
        remedy = 'Put one in with role = "check_standard" or "further_reference".'
        yield Finding("check standard", "caution", sentence, remedy)
    if len({step.temperature_c for step in steps}) < FEWEST_TEMPERATURES:
        sentence = (
            f"Fewer than {FEWEST_TEMPERATURES} different temperatures: little or nothing tests the fit."
        )
        yield Finding("points", "caution", sentence, "Add points, or take the results as a check only.")
    if not any(step.kind == "point" and step.partner is not None for step in steps):
        sentence = "No point is reached from below and from above: hysteresis will not show."
        yield Finding("hysteresis", "caution", sentence, "Repeat a mid-range point after the highest.")
    if run.plan.zero.kind == "attended_ice_point":
        sentence = "The source does not go to 0 °C: the ice point is measured by a person."
        remedy = "Measure every thermometer there before loading and after unloading, and write it down."
        yield Finding("zero", "caution", sentence, remedy)
    yield from (finding for step in steps for finding in _criterion(run, step))


def length(total_s: float) -> Iterator[Finding]:
    """Every wait has an end, so the run has; 72 h is the most."""
    hours = total_s / 3600.0
    if not total_s <= LONGEST_S:
        yield Finding(
            "duration",
            "refused",
            f"The run is forecast to take {hours:.0f} h; {LONGEST_S / 3600.0:g} h is the most.",
            "Split it into several runs.",
            value=f"{hours:.0f} h",
            limit=f"{LONGEST_S / 3600.0:g} h",
            set_by="common practice",
        )
    else:
        yield Finding(
            "duration", "info", f"Forecast length {hours:.1f} h.", value=f"{hours:.1f} h", limit="72 h"
        )


def _criterion(run: RunPlan, step: Step) -> Iterator[Finding]:
    seen, asked = run.bench.heat_source.quietest(step.temperature_c), step.equilibrium
    if seen is not None:
        if asked.drift_mk < seen.drift_mk or asked.scatter_mk < seen.scatter_mk:
            yield Finding(
                "criterion",
                "caution",
                f"{named(step)} asks for drift {asked.drift_mk:g} mK and scatter {asked.scatter_mk:g} mK; "
                f"the source was seen to reach {seen.drift_mk:g} mK and {seen.scatter_mk:g} mK "
                f"(near {degrees(seen.temperature_c)}, {seen.seen_on.isoformat()}).",
                "It would wait to the end of its time: ask for less, or characterise the source again.",
                value=f"{asked.drift_mk:g} mK, {asked.scatter_mk:g} mK",
                limit=f"{seen.drift_mk:g} mK, {seen.scatter_mk:g} mK",
                set_by="[[heat_source.stability]] of the bench file",
            )
        return
    figures = usual(run.bench.heat_source.kind, step.temperature_c)
    if asked.drift_mk < TIGHT * figures.drift_mk or asked.scatter_mk < TIGHT * figures.scatter_mk:
        yield Finding(
            "criterion",
            "caution",
            f"{named(step)} asks for drift {asked.drift_mk:g} mK and scatter {asked.scatter_mk:g} mK; "
            f"usual for this source are {figures.drift_mk:g} mK and {figures.scatter_mk:g} mK.",
            "It may wait to the end of its time; make sure the source has been seen to be that quiet.",
        )
