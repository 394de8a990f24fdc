"""A new calibration beside a former one: En-type numbers and the drift of R0 and of the coefficients.

Source of En: ISO/IEC 17043 (from memory), En = (x - x_former)/√(U² + U_former²), |En| ≤ 1 agrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daemon.fitting.arrays import FloatArray
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.errors import FittingError
from drivers.quantities import TRIPLE_POINT_OF_WATER_C

_GRID = 41


def en_number(value: float, expanded: float, former: float, former_expanded: float) -> float:
    """En of two results with their expanded uncertainties, one unit throughout."""
    together = math.hypot(expanded, former_expanded)
    if not (together > 0):
        raise FittingError("En needs an expanded uncertainty above 0")
    return (value - former) / together


@dataclass(frozen=True)
class CoefficientDrift:
    """One coefficient now and then, and the En of the change (U = 2u; NaN without uncertainty)."""

    name: str
    now: float
    former: float
    en: float


@dataclass(frozen=True, eq=False)
class Comparison:
    """Over (m,) temperatures common to both: drift in mK (now minus former at one resistance), U of both, En.

    `r0_drift_mk` is the drift at 0.01 °C in mK, None when a range does not reach it.
    """

    temperature_c: FloatArray
    drift_mk: FloatArray
    expanded_mk: FloatArray
    former_expanded_mk: FloatArray
    en: FloatArray
    r0_drift_mk: float | None
    coefficients: tuple[CoefficientDrift, ...]
    agrees: bool
    sentence: str


def compare(now: Characteristic, former: Characteristic, coverage: float = 0.95) -> Comparison:
    """Compare over the range common to both; raises FittingError when there is none."""
    where = common_c(now, former)
    drift = _drift_mk(now, former, where)
    new, old = (1e3 * c.expanded_uncertainty_k(where, coverage) for c in (now, former))
    en = drift / np.hypot(new, old)
    worst = int(np.argmax(np.abs(en)))
    agrees = bool(np.abs(en[worst]) <= 1)
    reaches = where[0] <= TRIPLE_POINT_OF_WATER_C <= where[-1]
    return Comparison(
        where,
        drift,
        new,
        old,
        en,
        float(_drift_mk(now, former, np.array([TRIPLE_POINT_OF_WATER_C]))[0]) if reaches else None,
        _coefficients(now, former),
        agrees,
        f"largest |En| {abs(en[worst]):.2f} at {where[worst]:.1f} °C, drift there {drift[worst]:+.1f} mK: "
        + (
            "agrees with the former calibration"
            if agrees
            else "differs from the former calibration; look before release"
        ),
    )


def common_c(now: Characteristic, former: Characteristic) -> FloatArray:
    """Temperatures in °C over the range that both hold in; raises FittingError when there is none."""
    low, high = max(now.range_c[0], former.range_c[0]), min(now.range_c[1], former.range_c[1])
    if not low < high:
        raise FittingError("the two calibrations have no range in common: nothing to compare")
    return np.linspace(low, high, _GRID)


def furthest_apart_mk(now: Characteristic, former: Characteristic) -> float:
    """How far apart two characteristics are, at most, in mK; raises FittingError without a common range."""
    return float(np.abs(_drift_mk(now, former, common_c(now, former))).max())


def _drift_mk(now: Characteristic, former: Characteristic, where: FloatArray) -> FloatArray:
    change = now.resistance_ohm(where) - former.resistance_ohm(where)
    return 1e3 * change / now.sensitivity_ohm_per_k(where)


def _coefficients(now: Characteristic, former: Characteristic) -> tuple[CoefficientDrift, ...]:
    if now.equation.to_dict() != former.equation.to_dict():
        return ()
    spread = 2 * np.sqrt(np.diagonal(now.covariance) + np.diagonal(former.covariance))
    rows = zip(now.equation.parameters, now.theta, former.theta, spread, strict=True)
    return tuple(
        CoefficientDrift(name, new, old, (new - old) / float(u) if u > 0 else math.nan)
        for name, new, old, u in rows
    )
