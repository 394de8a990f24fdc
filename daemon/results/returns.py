"""What coming back to one temperature shows: hysteresis, repeatability, and what annealing changed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from daemon.results.reduce import Reduced, Scatter
from plans.run_plan import RunPlan
from plans.unroll import SAME_TEMPERATURE_K, Step, measuring_steps


@dataclass(frozen=True, slots=True)
class Hysteresis:
    """Half the difference between two visits to one temperature, once from below and once from above.

    `standard_mk`: standard uncertainty from the scatter of the two visits.
    """

    temperature_c: float
    half_difference_mk: float
    standard_mk: float


@dataclass(frozen=True, slots=True)
class Repeat:
    """Later minus earlier visit to one temperature from the same side, other temperatures in between.

    `standard_mk`: standard uncertainty from the scatter of the two visits.
    """

    temperature_c: float
    difference_mk: float
    standard_mk: float


def hysteresis_of(run: RunPlan, reduced: Sequence[Reduced], scatter: Scatter) -> tuple[Hysteresis, ...]:
    """One for each temperature that was reached from both sides."""
    by_index = {point.index: point for point in reduced}
    found = []
    for step in measuring_steps(run):
        partner = step.partner
        if partner is None or partner < step.index or not {step.index, partner} <= set(by_index):
            continue
        first, second = by_index[step.index], by_index[partner]
        difference_mk, error_mk = _difference_mk(first, second, scatter)
        found.append(Hysteresis(step.temperature_c, 0.5 * difference_mk, 0.5 * error_mk))
    return tuple(found)


def repeats_of(run: RunPlan, reduced: Sequence[Reduced], scatter: Scatter) -> tuple[Repeat, ...]:
    """One for each point that was measured again after other temperatures."""
    by_index = {point.index: point for point in reduced}
    return tuple(
        Repeat(again.temperature_c, *_difference_mk(by_index[first.index], by_index[again.index], scatter))
        for first, again in _again(measuring_steps(run))
        if {first.index, again.index} <= set(by_index)
    )


def annealing_mk(reduced: Sequence[Reduced]) -> float | None:
    """What annealing changed at the point to which it returns, in mK; None without annealing."""
    found = [point for point in reduced if point.stage == "zero_before"]
    left = [point for point in reduced if point.stage == "annealed"]
    return 1e3 * change_k(found[0], left[-1]) if found and left else None


def _again(steps: Sequence[Step]) -> Iterator[tuple[Step, Step]]:
    """Each point with the next one at its temperature from its side; the zero points are the shift's."""
    points = [step for step in steps if step.kind == "point"]
    for place, first in enumerate(points):
        for again in points[place + 2 :]:
            near = abs(again.temperature_c - first.temperature_c) <= SAME_TEMPERATURE_K
            if near and again.approach == first.approach:
                yield first, again
                break


def _difference_mk(first: Reduced, last: Reduced, scatter: Scatter) -> tuple[float, float]:
    error_mk = math.hypot(scatter.of_mean(first)[0], scatter.of_mean(last)[0])
    return 1e3 * change_k(first, last), error_mk


def change_k(first: Reduced, last: Reduced) -> float:
    """What the item changed between two visits to one temperature, in K, the source's own change taken out.

    One slope for both: each visit divided by its own would weigh the whole resistance with the slopes'
    small difference.
    """
    slope = 0.5 * (first.sensitivity_ohm_per_k + last.sensitivity_ohm_per_k)
    change_ohm = last.resistance_ohm - first.resistance_ohm
    return change_ohm / slope - (last.temperature_c - first.temperature_c)
