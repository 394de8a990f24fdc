"""Propagation of distributions through the whole fit: JCGM 101:2008.

Every trial draws each source of error from its own distribution, disturbs the readings, fits again
(non-linear, to convergence, with the weights of the measured data) and converts the resistances that belong
to the temperatures asked for. Errors of the reference act on the item's reading through dR/dt, which is
exact to second order. Source with finite degrees of freedom: scaled t distribution, clause 6.4.9.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from daemon.fitting.arrays import FloatArray, as_floats
from daemon.fitting.equation import Equation
from daemon.fitting.errors import FittingError
from daemon.fitting.fit import Problem, solve_points
from daemon.fitting.points import PointResult, Source
from daemon.fitting.uncertainty import Component

_CHUNK = 16384
_FIT_STEPS = 5
# Each step leaves about a ten-thousandth of itself: a last step this small, in standard
# uncertainties, will do.
_FIT_DONE = 1e-3

# Part of a row looked at to guess where its tails begin, and by how much the guess is widened.
_SAMPLE = 10_000
_TAIL_MARGIN = 0.015
_CURVATURE_STEP_K = 1e-2


@dataclass(frozen=True, eq=False)
class MonteCarlo:
    """At (m,) temperatures, in K: mean shift, standard uncertainty, shortest coverage interval about t."""

    temperature_c: FloatArray
    mean_shift_k: FloatArray
    standard_k: FloatArray
    interval_k: FloatArray
    coverage: float
    trials: int


def monte_carlo(
    points: Sequence[PointResult],
    equation: Equation,
    components: Sequence[Component],
    temperature_c: ArrayLike,
    trials: int = 1_000_000,
    seed: int = 1,
    coverage: float = 0.95,
) -> MonteCarlo:
    """Run the trials for the points not excluded; `temperature_c` is (m,), `interval_k` of the result (m, 2).

    Raises FittingError for fewer than 1000 trials and as `fit.solve_points`.
    """
    if not (trials >= 1000 and 0 < coverage < 1):
        raise FittingError(
            f"at least 1000 trials and a coverage between 0 and 1, not {trials} and {coverage}"
        )
    used = [point for point in points if point.excluded_because is None]
    problem = solve_points(used, equation, components)
    where = as_floats(temperature_c)
    outcomes = _outcomes(problem, where, trials, np.random.Generator(np.random.SFC64(seed)))
    mean = np.array([row.mean() for row in outcomes])
    standard = np.array([row.std() for row in outcomes])
    interval = np.array([_shortest(row, coverage) for row in outcomes])
    return MonteCarlo(where, mean, standard, interval, coverage, trials)


def _outcomes(problem: Problem, where: FloatArray, trials: int, generator: np.random.Generator) -> FloatArray:
    """(temperatures, trials) errors in K of t90 at the resistances that belong to `where`."""
    grid = problem.equation.at(where)
    resistance, bend = grid.resistance_ohm(problem.theta)[:, None], _curvature_per_k(problem, where)[:, None]
    now = problem.grid.linearise(problem.resistance_ohm, problem.theta)
    measured, sensitivity = problem.resistance_ohm[:, None], now.sensitivity_ohm_per_k[:, None]
    draw = Draw(problem.sources, generator)
    result = np.empty((where.size, trials))
    for start in range(0, trials, _CHUNK):
        errors_k = draw(min(_CHUNK, trials - start))
        theta = _refit(problem, measured + errors_k * sensitivity)
        shift = grid.residual_k(resistance, theta)
        np.subtract(shift, bend * shift * shift, out=result[:, start : start + _CHUNK])
    return result


def _curvature_per_k(problem: Problem, where: FloatArray) -> FloatArray:
    """Half of R''/R' at each temperature: what turns a shift along the tangent into one along the curve."""
    grids = [problem.equation.at(where + step) for step in (-_CURVATURE_STEP_K, _CURVATURE_STEP_K)]
    below, above = (
        grid.linearise(grid.resistance_ohm(problem.theta), problem.theta).sensitivity_ohm_per_k
        for grid in grids
    )
    curvature: FloatArray = (above - below) / (above + below) / (2 * _CURVATURE_STEP_K)
    return curvature


def _refit(problem: Problem, resistance_ohm: FloatArray) -> FloatArray:
    """(n, m) disturbed readings to (k, m) parameters."""
    theta = problem.theta[:, None]
    influence = problem.solution.influence
    spread = np.sqrt(problem.solution.covariance.diagonal())[:, None]
    for _ in range(_FIT_STEPS):
        step = influence @ problem.grid.residual_k(resistance_ohm, theta)
        theta = theta + step
        if np.abs(step / spread).max() < _FIT_DONE:
            break
    return theta


class Draw:
    """Draws (n, count) errors in K for n points from the sources, each from its own distribution.

    What is normal with infinite degrees of freedom and random adds up to one normal draw a point.
    """

    def __init__(self, sources: Sequence[Source], generator: np.random.Generator) -> None:
        self._generator = generator
        quiet = [s for s in sources if not s.common and _plain(s)]
        self._quiet = np.sqrt(sum((s.standard_k**2 for s in quiet), np.zeros(len(sources[0].standard_k))))
        self._common = [s for s in sources if s.common]
        self._random = [s for s in sources if not s.common and not _plain(s)]
        self._mixing = np.array([s.standard_k for s in self._common]).T

    def __call__(self, count: int) -> FloatArray:
        """One chunk of trials."""
        points = self._quiet.size
        total: FloatArray = self._generator.standard_normal((points, count)) * self._quiet[:, None]
        if self._common:
            total += self._mixing @ np.concatenate(
                [_unit(s, (1, count), self._generator) for s in self._common]
            )
        for source in self._random:
            total += source.standard_k[:, None] * _unit(source, (points, count), self._generator)
        return total


def _plain(source: Source) -> bool:
    return source.distribution == "normal" and bool(np.isinf(source.degrees_of_freedom))


def _unit(source: Source, shape: tuple[int, int], generator: np.random.Generator) -> FloatArray:
    """Draws of unit standard deviation; of finite degrees of freedom, one s is shared by a trial's points."""
    drawn = _shape(source.distribution, shape, generator)
    freedom = source.degrees_of_freedom
    if np.isinf(freedom):
        return drawn
    return drawn * np.sqrt(freedom / generator.chisquare(freedom, (1, shape[1])))


def _shape(distribution: str, shape: tuple[int, int], generator: np.random.Generator) -> FloatArray:
    if distribution == "normal":
        return generator.standard_normal(shape)
    if distribution == "rectangular":
        return (generator.random(shape) - 0.5) * 12**0.5
    if distribution == "triangular":
        return (generator.random(shape) - generator.random(shape)) * 6**0.5
    return np.sin(2 * np.pi * generator.random(shape)) * 2**0.5


def _shortest(values: FloatArray, coverage: float) -> tuple[float, float]:
    """Shortest interval holding `coverage` of the values; only their two tails need sorting."""
    outside = values.size - round(coverage * values.size)
    share = outside / values.size + _TAIL_MARGIN
    low_end, high_end = np.quantile(values[:_SAMPLE], [min(share, 1.0), max(1 - share, 0.0)])
    low, high = np.sort(values[values <= low_end]), np.sort(values[values >= high_end])
    if min(low.size, high.size) < outside:
        low = high = np.sort(values)
    low, high = low[:outside], high[-outside:]
    first = int(np.argmin(high - low))
    return float(low[first]), float(high[first])
