"""One thermometer's characteristic: R(t), t(R), dR/dt and their uncertainty, inside the calibrated range.

Both a fresh fit and a reference thermometer's certificate become this object, so that one piece of code
turns any thermometer's ohms into degrees.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, overload

import numpy as np
from numpy.typing import ArrayLike

from daemon.fitting.arrays import FloatArray, as_floats
from daemon.fitting.coverage import coverage_factor, effective_degrees_of_freedom
from daemon.fitting.equation import Equation
from daemon.fitting.errors import OutsideRange
from daemon.fitting.points import PointResult
from daemon.fitting.residuals import Findings
from daemon.fitting.uncertainty import Component

# Rounding in R(t) and back must not push the end points of a range out of it.
_EDGE_SLACK_K = 1e-6


class Factor(NamedTuple):
    """What one source of error does to the parameters: (k, m) matrix F, its covariance part F Fᵀ.

    One column for a common source, one a point for a random source.
    """

    name: str
    distribution: str
    degrees_of_freedom: float
    matrix: FloatArray


@dataclass(frozen=True)
class FitRecord:
    """What the fit was made from and how it went; residuals over the points used, in their order."""

    points: tuple[PointResult, ...]
    components: tuple[Component, ...]
    residuals_mk: tuple[float, ...]
    point_standard_mk: tuple[float, ...]
    leave_one_out: tuple[float, ...]
    chi_squared: float
    degrees_of_freedom: int
    findings: Findings

    @property
    def used(self) -> tuple[PointResult, ...]:
        """The points that were not excluded."""
        return tuple(point for point in self.points if point.excluded_because is None)


@dataclass(frozen=True, eq=False)
class UncertaintyAt:
    """Uncertainty at (m,) temperatures: standard, effective degrees of freedom, k and U = k·u, in K."""

    standard_k: FloatArray
    effective_degrees_of_freedom: FloatArray
    coverage_factor: FloatArray
    expanded_k: FloatArray


@dataclass(frozen=True, eq=False)
class Characteristic:
    """Fitted or certified R(t) of one thermometer, valid in `range_c` (t90 in °C) and nowhere else.

    `theta` are the equation's parameters at full precision; `factors` carry their covariance source by
    source; `added` are terms that act at every temperature. `with_excluded` is the fit with the excluded
    points put back, when there are any.
    """

    equation: Equation
    theta: tuple[float, ...]
    range_c: tuple[float, float]
    factors: tuple[Factor, ...] = ()
    added: tuple[Component, ...] = ()
    reason: str = ""
    cautions: tuple[str, ...] = ()
    fit: FitRecord | None = None
    with_excluded: Characteristic | None = None

    @cached_property
    def _theta(self) -> FloatArray:
        return np.array(self.theta)

    @cached_property
    def range_ohm(self) -> tuple[float, float]:
        """R at the two ends of the range."""
        low, high = self.equation.at(np.array(self.range_c)).resistance_ohm(self._theta)
        return float(low), float(high)

    @cached_property
    def _limits_ohm(self) -> tuple[float, float]:
        (low, high), (cold, hot) = self.range_ohm, self.range_c
        slack = _EDGE_SLACK_K * (high - low) / (hot - cold)
        return low - slack, high + slack

    def resistance_ohm(self, temperature_c: ArrayLike) -> FloatArray:
        """R(t90) in ohm; t90 in °C, any shape. Raises OutsideRange."""
        flat, shape = self._inside(temperature_c)
        return self.equation.at(flat).resistance_ohm(self._theta).reshape(shape)

    def sensitivity_ohm_per_k(self, temperature_c: ArrayLike) -> FloatArray:
        """dR/dt in ohm per kelvin; t90 in °C, any shape. Raises OutsideRange."""
        flat, shape = self._inside(temperature_c)
        grid = self.equation.at(flat)
        return grid.linearise(grid.resistance_ohm(self._theta), self._theta).sensitivity_ohm_per_k.reshape(
            shape
        )

    @overload
    def temperature_c(self, resistance_ohm: float) -> float: ...
    @overload
    def temperature_c(self, resistance_ohm: ArrayLike) -> FloatArray: ...
    def temperature_c(self, resistance_ohm: ArrayLike) -> float | FloatArray:
        """t90 in °C from R in ohm: a float for a float (plain Python, about 1 µs), else an array.

        Raises OutsideRange naming the range.
        """
        if isinstance(resistance_ohm, float):
            low, high = self._limits_ohm
            if not (low <= resistance_ohm <= high):
                raise self._outside(resistance_ohm, resistance_ohm)
            return self.equation.temperature_of_one_c(resistance_ohm, self.theta)
        ohms = as_floats(resistance_ohm)
        if ohms.size == 0:
            return np.empty_like(ohms)
        low, high = self._limits_ohm
        least, most = float(ohms.min()), float(ohms.max())
        if not (low <= least and most <= high):
            raise self._outside(least, most)
        return self.equation.temperature_c(ohms, self._theta)

    def _outside(self, least: float, most: float) -> OutsideRange:
        asked = f"{least:.6g} Ω" if least == most else f"{least:.6g} Ω to {most:.6g} Ω"
        (cold, hot), (low, high) = self.range_c, self.range_ohm
        return OutsideRange(
            f"this characteristic holds from {cold:.4f} °C to {hot:.4f} °C ({low:.6g} Ω to {high:.6g} Ω); "
            f"asked for {asked}"
        )

    def _inside(self, temperature_c: ArrayLike) -> tuple[FloatArray, tuple[int, ...]]:
        given = as_floats(temperature_c)
        low, high = self.range_c
        if given.size and not (low - _EDGE_SLACK_K <= given.min() and given.max() <= high + _EDGE_SLACK_K):
            raise OutsideRange(
                f"this characteristic holds from {low:.4f} °C to {high:.4f} °C; "
                f"asked for {given.min():.4f} °C to {given.max():.4f} °C: there is no extrapolation"
            )
        return given.reshape(-1), given.shape

    @cached_property
    def covariance(self) -> FloatArray:
        """(k, k) covariance of θ, every source added up."""
        size = len(self.theta)
        return sum((factor.matrix @ factor.matrix.T for factor in self.factors), np.zeros((size, size)))

    def contributions_k(self, temperature_c: ArrayLike) -> tuple[list[str], FloatArray]:
        """Names of the sources and their (m, c) standard uncertainties in K at (m,) temperatures."""
        columns, sizes = self._columns(self._inside(temperature_c)[0])
        names = [factor.name for factor in self.factors] + [component.name for component in self.added]
        return names, _by_source(columns, sizes)

    def _columns(self, temperature_c: FloatArray) -> tuple[FloatArray, list[int]]:
        grid = self.equation.at(temperature_c)
        resistance = grid.resistance_ohm(self._theta)
        now = grid.linearise(resistance, self._theta)
        where = (temperature_c, resistance, now.sensitivity_ohm_per_k)
        blocks = [now.gradient_k @ self._stacked] if self.factors else []
        blocks += [component.standard_k(*where)[:, None] for component in self.added]
        sizes = [factor.matrix.shape[1] for factor in self.factors] + [1] * len(self.added)
        columns = np.concatenate(blocks, axis=1) if blocks else np.zeros((temperature_c.size, 0))
        return columns, sizes

    @cached_property
    def _stacked(self) -> FloatArray:
        return np.concatenate([factor.matrix for factor in self.factors], axis=1)

    def standard_uncertainty_k(self, temperature_c: ArrayLike) -> FloatArray:
        """u(t) in K at t90 in °C, any shape: fit and added terms. Raises OutsideRange."""
        flat, shape = self._inside(temperature_c)
        columns, _ = self._columns(flat)
        standard: FloatArray = np.sqrt(np.einsum("mc,mc->m", columns, columns))
        return standard.reshape(shape)

    def expanded_uncertainty_k(self, temperature_c: ArrayLike, p: float = 0.95) -> FloatArray:
        """U(t) = k(t)·u(t) in K for coverage probability `p`, any shape. Raises OutsideRange."""
        flat, shape = self._inside(temperature_c)
        return self.uncertainty_at(flat, p).expanded_k.reshape(shape)

    def uncertainty_at(self, temperature_c: ArrayLike, p: float = 0.95) -> UncertaintyAt:
        """u, effective degrees of freedom, k and U at (m,) temperatures; k as in `coverage`."""
        flat, _ = self._inside(temperature_c)
        columns, sizes = self._columns(flat)
        sources: list[Factor | Component] = [*self.factors, *self.added]
        by_source = _by_source(columns, sizes)
        dof = np.array([source.degrees_of_freedom for source in sources], dtype=np.float64)
        effective = effective_degrees_of_freedom(by_source, dof)
        distributions = _repeated([source.distribution for source in sources], sizes)
        factor = coverage_factor(columns, distributions, effective, p)
        standard = np.sqrt((by_source**2).sum(axis=1))
        return UncertaintyAt(standard, effective, factor, factor * standard)

    @property
    def residuals_mk(self) -> tuple[float, ...]:
        """Temperature by the equation minus reference, in mK, by point used; empty for a certificate."""
        return self.fit.residuals_mk if self.fit else ()

    @property
    def chi_squared(self) -> float:
        """Of the whitened residuals; NaN for a certificate."""
        return self.fit.chi_squared if self.fit else math.nan

    @property
    def degrees_of_freedom(self) -> int:
        """Points minus coefficients; 0 for a certificate."""
        return self.fit.degrees_of_freedom if self.fit else 0


def _by_source(columns: FloatArray, sizes: Sequence[int]) -> FloatArray:
    if not sizes:
        return np.zeros((columns.shape[0], 0))
    starts = np.concatenate(([0], np.cumsum(sizes)[:-1]))
    return np.sqrt(np.add.reduceat(columns**2, starts, axis=1))


def _repeated(names: Sequence[str], sizes: Sequence[int]) -> list[str]:
    return [name for name, size in zip(names, sizes, strict=True) for _ in range(size)]
