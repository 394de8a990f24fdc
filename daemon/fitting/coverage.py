"""Coverage factor of a sum of independent terms that need not be normal.

The distribution of the sum comes from its characteristic function, the product of those of the terms, as
a Fourier series; the finite degrees of freedom then widen it as Student's t widens the normal (JCGM
100:2008 annex G.4, Welch-Satterthwaite). One dominating rectangular term gives k of about 1.65 where
the normal rule would say 1.96 (GUM G.6.5 and G.5.3).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from statistics import NormalDist

import numpy as np

from daemon.fitting.arrays import FloatArray
from daemon.fitting.errors import FittingError

# Excess kurtosis of each distribution, to see whether the sum differs from a normal one at all.
_EXCESS_KURTOSIS = {"normal": 0.0, "rectangular": -1.2, "triangular": -0.6, "arcsine": -1.5}
# An excess of this size moves k by less than 0.001.
_NORMAL_ENOUGH = 0.01

# Fourier series on ±6 standard uncertainties; 400 terms carry even a lone rectangle to 0.001 in k.
_HALF_PERIOD = 6.0
_HARMONICS = np.arange(1, 401)
_BISECTIONS = 24


def effective_degrees_of_freedom(standard: FloatArray, degrees_of_freedom: FloatArray) -> FloatArray:
    """Welch-Satterthwaite, GUM (G.2b): (m, c) standard uncertainties and (c,) degrees of freedom to (m,)."""
    variance = standard**2
    spent = variance**2 @ (1 / degrees_of_freedom)
    total = variance.sum(axis=1) ** 2
    effective: FloatArray = np.divide(total, spent, out=np.full_like(total, math.inf), where=spent > 0)
    return effective


def coverage_factor(
    standard: FloatArray, distributions: Sequence[str], effective_dof: FloatArray, coverage: float
) -> FloatArray:
    """k at each of m places from the (m, c) standard uncertainties of c independent terms.

    `distributions` names the c terms' distributions, `effective_dof` is (m,); `coverage` e.g. 0.95.
    """
    if not (0 < coverage < 1):
        raise FittingError(f"a coverage probability lies between 0 and 1, for example 0.95; given {coverage}")
    factor = _shape_factor(standard, distributions, coverage)
    if np.isinf(effective_dof).all():
        return factor
    return factor * _student(effective_dof, coverage) / normal_factor(coverage)


@cache
def normal_factor(coverage: float) -> float:
    """k of the normal distribution: 1.960 for 0.95, 2.000 for 0.9545."""
    return NormalDist().inv_cdf((1 + coverage) / 2)


def _student(dof: FloatArray, coverage: float) -> FloatArray:
    from scipy.special import stdtrit  # type: ignore[import-untyped]

    # The GUM truncates to the next lower integer; interpolating keeps k free of steps along a table.
    factor: FloatArray = stdtrit(np.minimum(dof, 1e9), (1 + coverage) / 2)
    return factor


def student_factor(degrees_of_freedom: float, coverage: float) -> float:
    """Two-sided Student t, GUM Table G.2; infinite degrees of freedom give the normal factor."""
    if math.isinf(degrees_of_freedom):
        return normal_factor(coverage)
    return float(_student(np.array([degrees_of_freedom]), coverage)[0])


def _shape_factor(standard: FloatArray, distributions: Sequence[str], coverage: float) -> FloatArray:
    total = np.sqrt((standard**2).sum(axis=1))
    normal = np.full(total.shape, normal_factor(coverage))
    excess = np.array([_EXCESS_KURTOSIS[name] for name in distributions])
    if not excess.any() or not total.all():
        return normal
    share = standard / total[:, None]
    odd = np.abs((share**4) @ excess) > _NORMAL_ENOUGH
    if odd.any():
        normal[odd] = _quantiles(share[odd], distributions, coverage)
    return normal


def _quantiles(share: FloatArray, distributions: Sequence[str], coverage: float) -> FloatArray:
    frequency = _HARMONICS * (math.pi / _HALF_PERIOD)
    product = np.ones((share.shape[0], frequency.size))
    for column, name in enumerate(distributions):
        product *= _characteristic(name, share[:, column, None] * frequency)
    weights = product * (2 / math.pi / _HARMONICS)
    low, high = np.zeros(share.shape[0]), np.full(share.shape[0], _HALF_PERIOD)
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        inside = middle / _HALF_PERIOD + (weights * np.sin(middle[:, None] * frequency)).sum(axis=1)
        low, high = np.where(inside < coverage, middle, low), np.where(inside < coverage, high, middle)
    factor: FloatArray = (low + high) / 2
    return factor


def _characteristic(name: str, argument: FloatArray) -> FloatArray:
    """Characteristic function of a distribution with unit standard deviation."""
    if name == "normal":
        bell: FloatArray = np.exp(-(argument**2) / 2)
        return bell
    if name == "rectangular":
        wave: FloatArray = np.sinc(argument * (math.sqrt(3) / math.pi))
        return wave
    if name == "triangular":
        root: FloatArray = np.sinc(argument * (math.sqrt(6) / 2 / math.pi))
        return root * root
    from scipy.special import j0

    bessel: FloatArray = j0(argument * math.sqrt(2))
    return bessel
