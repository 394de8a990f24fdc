"""Judgement of a fit's residuals against the uncertainty of the points, in words.

Tests may flag, only a stated cause may exclude (see fit). Sources: JCGM 100:2008 for U = 2u; chi-squared
bounds from the distribution; the limits for a left-out point and for the runs are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daemon.fitting.arrays import FloatArray
from daemon.fitting.least_squares import Solution

_LEFT_OUT_LIMIT = 3.0
_FEWEST_FOR_TREND = 8


@dataclass(frozen=True)
class Findings:
    """`fine`: nothing was flagged; `chi_squared_bounds` hold 95 % of fits; `sentences` explain."""

    fine: bool
    chi_squared_bounds: tuple[float, float] | None
    suspects: tuple[int, ...]
    sentences: tuple[str, ...]


def judge_residuals(residual_k: FloatArray, standard_k: FloatArray, solution: Solution) -> Findings:
    """Judge (n,) residuals by U of each point, chi-squared, each point left out, and a trend.

    `suspects` are indices of points whose residual or left-out statistic is beyond its limit.
    """
    freedom = solution.degrees_of_freedom
    if freedom < 1:
        return Findings(True, None, (), ())
    beyond = np.abs(residual_k) > 2 * standard_k
    left_out = solution.leave_one_out > _LEFT_OUT_LIMIT
    bounds = chi_squared_bounds(freedom)
    sentences = [_beyond(i, residual_k[i], standard_k[i]) for i in map(int, np.flatnonzero(beyond))]
    sentences += [
        f"point {i + 1}: {solution.leave_one_out[i]:.1f} standard deviations from where the others expect it"
        for i in np.flatnonzero(left_out)
    ]
    sentences += _chi_squared_words(solution.chi_squared, freedom, bounds)
    if _has_trend(residual_k):
        sentences.append("the residuals change sign too rarely: the equation may not suit this thermometer")
    suspects = tuple(int(i) for i in np.flatnonzero(beyond | left_out))
    return Findings(not sentences, bounds, suspects, tuple(sentences))


def chi_squared_bounds(degrees_of_freedom: int) -> tuple[float, float]:
    """The central 95 % of chi-squared."""
    from scipy.special import chdtri  # type: ignore[import-untyped]

    return float(chdtri(degrees_of_freedom, 0.975)), float(chdtri(degrees_of_freedom, 0.025))


def _beyond(index: int, residual_k: float, standard_k: float) -> str:
    excess = f"residual {1e3 * residual_k:+.2f} mK exceeds the point's U of {2e3 * standard_k:.2f} mK"
    return f"point {index + 1}: {excess}"


def _chi_squared_words(value: float, freedom: int, bounds: tuple[float, float]) -> list[str]:
    low, high = bounds
    figures = (
        f"chi-squared {value:.2f} with {freedom} degrees of freedom (95 % bounds {low:.2f} to {high:.2f})"
    )
    if value > high:
        return [f"{figures}: the residuals are larger than the budget explains"]
    if value < low:
        return [
            f"{figures}: the residuals are smaller than the budget expects; a random term may be overstated"
        ]
    return []


def _has_trend(residual_k: FloatArray) -> bool:
    count = len(residual_k)
    if count < _FEWEST_FOR_TREND:
        return False
    changes = int((residual_k[1:] * residual_k[:-1] < 0).sum())
    return bool(changes < (count - 1) / 2 - 1.645 * np.sqrt(count - 1) / 2)
