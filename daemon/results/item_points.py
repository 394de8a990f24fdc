"""One row for each point of one thermometer: what the residual plot, the page and the CSV all show."""

from __future__ import annotations

import math
from dataclasses import dataclass

from daemon.fitting.characteristic import Characteristic
from daemon.fitting.errors import OutsideRange
from daemon.fitting.uncertainty import Budget
from daemon.results.calibrate import ItemResult, NightResult
from daemon.results.reduce import Reduced
from plans.unroll import measuring_steps


@dataclass(frozen=True, slots=True)
class ItemPoint:
    """`residual_mk` and `budget` are None without a characteristic; `approach` is the side it came from."""

    reduced: Reduced
    approach: str
    residual_mk: float | None
    budget: Budget | None
    excluded_because: str

    @property
    def number(self) -> int:
        """The point's number as people count."""
        return self.reduced.index + 1

    @property
    def expanded_mk(self) -> float | None:
        """U of this point in mK."""
        return None if self.budget is None else self.budget.expanded_mk


def item_points(night: NightResult, item: ItemResult) -> list[ItemPoint]:
    """The points of one thermometer in the order they were measured."""
    approaches = {step.index: step.approach for step in measuring_steps(night.run)}
    budgets = item.budgets or (None,) * len(item.points)
    return [
        ItemPoint(
            reduced,
            approaches[reduced.index],
            _residual_mk(item.characteristic, reduced),
            budget,
            _cause(item, place),
        )
        for place, (reduced, budget) in enumerate(zip(item.points, budgets, strict=True))
    ]


def largest_residual_mk(points: list[ItemPoint]) -> float | None:
    """Of the points in the fit, by size; None when there is none."""
    used = [p.residual_mk for p in points if p.residual_mk is not None and not p.excluded_because]
    return max(used, key=abs, default=None)


def _residual_mk(characteristic: Characteristic | None, reduced: Reduced) -> float | None:
    if characteristic is None:
        return None
    try:
        residual_k = characteristic.temperature_c(reduced.resistance_ohm) - reduced.temperature_c
    except OutsideRange:
        residual_k = _by_slope(characteristic, reduced)
    return 1e3 * residual_k if math.isfinite(residual_k) else None


def _by_slope(characteristic: Characteristic, reduced: Reduced) -> float:
    # The outermost point may lie a few millikelvin beyond the range that the fit states.
    nearest_c = min(max(reduced.temperature_c, characteristic.range_c[0]), characteristic.range_c[1])
    if abs(nearest_c - reduced.temperature_c) > 1.0:
        return math.nan
    slope = float(characteristic.sensitivity_ohm_per_k(nearest_c))
    above_ohm = reduced.resistance_ohm - float(characteristic.resistance_ohm(nearest_c))
    return above_ohm / slope + nearest_c - reduced.temperature_c


def _cause(item: ItemResult, place: int) -> str:
    """Why a point is not in the fit, by the words of the fit's own record; points keep their order there."""
    fit = item.characteristic.fit if item.characteristic is not None else None
    if fit is None:
        return "" if item.points[place].settled else "no equilibrium within the longest wait"
    return fit.points[place].excluded_because or ""
