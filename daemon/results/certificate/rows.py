"""The numbers of a certificate, rounded to match their uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from daemon.fitting.characteristic import Characteristic
from daemon.fitting.table import table_rows, two_digits
from daemon.results.calibrate import ItemResult, NightResult
from daemon.results.item_points import item_points
from daemon.results.numbers import decimals_of

MOST_LINES = 45
_STEPS = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class PointRow:
    """One calibration point: values as printed, resistance in ohm, U of the resistance in ohm, U(t) in mK."""

    number: int
    approach: str
    temperature_c: str
    resistance_ohm: str
    expanded_ohm: str
    expanded_mk: str
    coverage_factor: str
    residual_mk: float | None
    excluded_because: str


@dataclass(frozen=True, slots=True)
class TableLine:
    """One line of the interpolation table, as printed; U as in `PointRow`."""

    temperature_c: str
    resistance_ohm: str
    sensitivity_ohm_per_k: str
    expanded_ohm: str
    expanded_mk: str
    coverage_factor: str


def point_rows(night: NightResult, item: ItemResult, smallest_mk: float) -> Iterator[PointRow]:
    """All points of one thermometer in their order; U is never below the laboratory's smallest."""
    for point in item_points(night, item):
        if point.budget is None:
            continue
        slope = point.reduced.sensitivity_ohm_per_k
        u_mk = max(point.budget.expanded_mk, smallest_mk)
        yield PointRow(
            point.number,
            point.approach,
            rounded(point.reduced.temperature_c, 1e-3 * u_mk),
            rounded(point.reduced.resistance_ohm, 1e-3 * u_mk * slope),
            two_digits(1e-3 * u_mk * slope),
            two_digits(u_mk),
            f"{point.budget.coverage_factor:.2f}",
            point.residual_mk,
            point.excluded_because,
        )


def table_lines(found: Characteristic, step_k: float | None, smallest_mk: float) -> Iterator[TableLine]:
    """R(t), dR/dt and U at a step that keeps the table short, or at the step asked for."""
    low, high = found.range_c
    for row in table_rows(found, short_step_k(high - low) if step_k is None else step_k):
        u_mk, slope = max(row.expanded_mk, smallest_mk), row.sensitivity_ohm_per_k
        yield TableLine(
            f"{row.temperature_c:.10g}"
            if row.temperature_c not in (low, high)
            else _end(row.temperature_c, low),
            rounded(row.resistance_ohm, 1e-3 * u_mk * slope),
            f"{slope:.6f}",
            two_digits(1e-3 * u_mk * slope),
            two_digits(u_mk),
            f"{row.coverage_factor:.2f}",
        )


def short_step_k(span_k: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that gives at most `MOST_LINES` lines."""
    decade = 10.0 ** math.floor(math.log10(span_k / MOST_LINES))
    return next(step * decade for step in _STEPS if step * decade * (MOST_LINES - 2) >= span_k)


def rounded(value: float, expanded: float) -> str:
    """A value with the last place of its U stated with two significant digits (ILAC-P14, 4)."""
    decimals = decimals_of(expanded)
    return f"{round(value, decimals) + 0.0:.{decimals}f}"


def _end(value: float, low: float) -> str:
    """An end of the range, rounded inwards so that the table never reaches beyond it."""
    scaled = value * 1e4
    return f"{(math.ceil(scaled) if value == low else math.floor(scaled)) / 1e4:.4f}"
