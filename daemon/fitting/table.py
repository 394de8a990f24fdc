"""R(t), dR/dt and U(t) at any step, as rows, plain text or CSV. Nothing beyond the calibrated range."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daemon.fitting.characteristic import Characteristic
from daemon.fitting.errors import FittingError

_MOST_ROWS = 200_001


@dataclass(frozen=True)
class TableRow:
    """t90 in °C, R in ohm, dR/dt in ohm per kelvin, expanded uncertainty in mK and its k."""

    temperature_c: float
    resistance_ohm: float
    sensitivity_ohm_per_k: float
    expanded_mk: float
    coverage_factor: float


def table_rows(
    characteristic: Characteristic,
    step_k: float,
    start_c: float | None = None,
    stop_c: float | None = None,
    p: float = 0.95,
) -> tuple[TableRow, ...]:
    """Rows at multiples of `step_k` inside the range, and its two ends; `start_c`, `stop_c` narrow it.

    Raises OutsideRange beyond the calibrated range, FittingError for a step that is not above 0.
    """
    low = characteristic.range_c[0] if start_c is None else start_c
    high = characteristic.range_c[1] if stop_c is None else stop_c
    if not (step_k > 0 and low < high and (high - low) / step_k < _MOST_ROWS):
        raise FittingError(
            f"no table from {low} °C to {high} °C by {step_k} K: step above 0, at most {_MOST_ROWS} rows"
        )
    where = _steps(low, high, step_k)
    at = characteristic.uncertainty_at(where, p)
    columns = (where, characteristic.resistance_ohm(where), characteristic.sensitivity_ohm_per_k(where))
    values = zip(*columns, 1e3 * at.expanded_k, at.coverage_factor, strict=True)
    return tuple(TableRow(*map(float, row)) for row in values)


def _steps(low: float, high: float, step_k: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    first, last = math.ceil(low / step_k - 1e-9), math.floor(high / step_k + 1e-9)
    inner = np.round(np.arange(first, last + 1) * step_k, 9)
    inner = inner[(inner > low + 1e-9) & (inner < high - 1e-9)]
    return np.concatenate(([low], inner, [high]))


def _resistance_decimals(rows: Sequence[TableRow]) -> int:
    """Digits worth 0.1 mK of the steepest row, so that printing costs nothing that matters."""
    steepest = max(row.sensitivity_ohm_per_k for row in rows)
    return max(0, 1 - math.floor(math.log10(1e-3 * steepest)))


def as_csv(rows: Sequence[TableRow]) -> str:
    """CSV with units in the column names."""
    digits = _resistance_decimals(rows)
    lines = ["temperature_c,resistance_ohm,sensitivity_ohm_per_k,expanded_uncertainty_mk,coverage_factor"]
    lines += [
        f"{r.temperature_c:.10g},{r.resistance_ohm:.{digits}f},{r.sensitivity_ohm_per_k:.7g},"
        f"{r.expanded_mk:.4g},{r.coverage_factor:.3f}"
        for r in rows
    ]
    return "\n".join(lines) + "\n"


def as_text(rows: Sequence[TableRow]) -> str:
    """Columns for reading, U with two significant digits."""
    digits = _resistance_decimals(rows)
    lines = [f"{'t90 / °C':>12}  {'R / Ω':>14}  {'dR/dt / (Ω/K)':>13}  {'U / mK':>9}  {'k':>5}"]
    lines += [
        f"{r.temperature_c:12.4f}  {r.resistance_ohm:14.{digits}f}  {r.sensitivity_ohm_per_k:13.6f}  "
        f"{two_digits(r.expanded_mk):>9}  {r.coverage_factor:5.2f}"
        for r in rows
    ]
    return "\n".join(lines) + "\n"


def two_digits(value: float) -> str:
    """Two significant digits without an exponent, as uncertainties are stated (ILAC-P14)."""
    rounded = f"{value:.1e}"
    places = 1 - int(rounded.partition("e")[2]) if value else 0
    return f"{float(rounded):.{max(places, 0)}f}"
