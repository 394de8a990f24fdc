"""Heating and cooling against what each probe stands, and the shock of the first warm-up."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from daemon.precheck.findings import Finding, degrees, named
from daemon.timetable import slow_until_c
from plans.rating import BRITTLE, Limit
from plans.run_plan import RunPlan
from plans.unroll import Step, measuring_steps

SILICA_NOT_COLD_INTO_C = 500.0  # common practice, no source


def rates(run: RunPlan) -> Iterator[Finding]:
    """One refusal for each probe and direction, and for the source itself: the worst step named."""
    steps = measuring_steps(run)
    source = run.bench.heat_source
    own = Limit(f"the {source.spoken}", source.ramp_limit_k_per_min, "ramp_limit_k_per_min of the bench file")
    yield from _worst([(own, step) for step in steps], "heated or cooled")
    falls = [
        (_fast_from_c(run, before.temperature_c, step.temperature_c), step)
        for before, step in pairwise(steps)
        if step.approach == "from_above"
    ]
    yield from _slow_parts(run, steps)
    for one in run.thermometers:
        yield from _worst([(one.heating, step) for step in steps if _rises(run, step)], "heated")
        yield from _worst([(one.cooling_from(top_c), step) for top_c, step in falls], "cooled")


def shock(run: RunPlan) -> Iterator[Finding]:
    """A brittle sheath is not put cold into a hot furnace."""
    first = measuring_steps(run)[0]
    if not first.temperature_c > SILICA_NOT_COLD_INTO_C:
        return
    for one in run.thermometers:
        if one.sheath in BRITTLE:
            yield Finding(
                "shock",
                "refused",
                f"{named(first)} comes first, and probe {one.serial} would go cold into it: silica, glass "
                f"and ceramic break above {degrees(SILICA_NOT_COLD_INTO_C)} that way.",
                "Begin with a cooler point and let the source carry the probe up.",
                value=degrees(first.temperature_c),
                limit=degrees(SILICA_NOT_COLD_INTO_C),
                set_by=f"probe {one.serial}: common practice",
            )


def _slow_parts(run: RunPlan, steps: tuple[Step, ...]) -> Iterator[Finding]:
    """Where the run itself cools slower than the plan's ramp, because a thermometer asks for it."""
    for before, step in pairwise(steps):
        knee_c = slow_until_c(run, before.temperature_c, step.temperature_c)
        if knee_c is not None:
            slow = min((one.cooling_from(before.temperature_c) for one in run.thermometers), key=_value)
            yield Finding(
                "rate",
                "info",
                f"{named(step)} is approached at {slow.value:.2g} K/min down to {degrees(knee_c)}: "
                f"{slow.owner}, {slow.rule}.",
            )


def _value(limit: Limit) -> float:
    return limit.value


def _fast_from_c(run: RunPlan, from_c: float, to_c: float) -> float:
    """Where the point's own ramp begins: the slow part of a fall is commanded before it."""
    knee_c = slow_until_c(run, from_c, to_c)
    return from_c if knee_c is None else knee_c


def _rises(run: RunPlan, step: Step) -> bool:
    from_room = step.approach == "start" and step.temperature_c > run.bench.ambient_c
    return step.approach == "from_below" or from_room


def _worst(pairs: list[tuple[Limit, Step]], how: str) -> Iterator[Finding]:
    too_fast = [(limit, step) for limit, step in pairs if not step.ramp_k_per_min <= limit.value]
    if too_fast:
        limit, step = max(too_fast, key=lambda pair: pair[1].ramp_k_per_min / pair[0].value)
        yield Finding(
            "rate",
            "refused",
            f"{named(step)} is approached at {step.ramp_k_per_min:g} K/min; {limit.owner} may be {how} at "
            f"{limit.value:.2g} K/min at most ({limit.rule}).",
            f"Set ramp_k_per_min to {limit.value:.2g} or less for this point.",
            value=f"{step.ramp_k_per_min:g} K/min",
            limit=f"{limit.value:.2g} K/min",
            set_by=f"{limit.owner}: {limit.rule}",
        )
