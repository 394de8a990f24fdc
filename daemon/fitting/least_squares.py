"""Weighted and generalised linear least squares with a full covariance.

Columns are scaled to unit length, the covariance is taken out by its Cholesky factor, and the rest is a
singular value decomposition, which also tells how well the points part the coefficients. An unscaled
pseudo-inverse is silently wrong on Callendar-Van Dusen columns, whose sizes span nine decades. Source:
textbook generalised least squares; JCGM 100:2008 H.3 for the case without weights.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from daemon.fitting.arrays import FloatArray
from daemon.fitting.errors import NotSolvable

# Condition of the scaled, whitened design beyond which the points do not tell the coefficients apart.
_WORST_CONDITION = 1e9


# Share of a point's variance that must be its own: below it rounding decides what the fit believes.
_LEAST_OWN_SHARE = 1e-12
_NO_RANDOM_PART = "the points have no random part that tells them apart: give each a repeatability above 0"


def whitener(covariance: FloatArray) -> FloatArray:
    """(n, n) matrix L⁻¹ with covariance = L Lᵀ; raises NotSolvable when it is not positive definite."""
    try:
        factor = np.linalg.cholesky(covariance)
    except np.linalg.LinAlgError:
        raise NotSolvable(_NO_RANDOM_PART) from None
    if not (factor.diagonal() ** 2 > _LEAST_OWN_SHARE * covariance.diagonal()).all():
        raise NotSolvable(_NO_RANDOM_PART)
    inverse: FloatArray = np.linalg.inv(factor)
    return inverse


@dataclass(frozen=True, eq=False)
class Solution:
    """Result of a fit of k parameters to n points.

    `estimate` (k,); `observed` (n,); `basis` (n, k) spans the whitened design
    orthonormally; `to_estimate` (k, n) turns whitened observations into the estimate.
    """

    estimate: FloatArray
    observed: FloatArray
    whitener: FloatArray
    design: FloatArray
    basis: FloatArray
    to_estimate: FloatArray

    @cached_property
    def residuals(self) -> FloatArray:
        """(n,) observed minus fitted."""
        residuals: FloatArray = self.observed - self.design @ self.estimate
        return residuals

    @cached_property
    def whitened_residuals(self) -> FloatArray:
        """(n,) residuals freed of correlation, in units of their standard uncertainty."""
        whitened: FloatArray = self.whitener @ self.residuals
        return whitened

    @cached_property
    def influence(self) -> FloatArray:
        """(k, n) derivative of the estimate by the observations."""
        influence: FloatArray = self.to_estimate @ self.whitener
        return influence

    @cached_property
    def covariance(self) -> FloatArray:
        """(k, k) covariance of the estimate for the covariance of the observations."""
        product: FloatArray = self.to_estimate @ self.to_estimate.T
        return product

    @property
    def chi_squared(self) -> float:
        """rᵀ V⁻¹ r of the whitened residuals: an error common to all points adds nothing to it."""
        return float(self.whitened_residuals @ self.whitened_residuals)

    @property
    def degrees_of_freedom(self) -> int:
        """n - k."""
        return len(self.design) - len(self.estimate)

    @cached_property
    def leave_one_out(self) -> FloatArray:
        """(n,) deleted residuals in units of their standard deviation: how badly the others foretell each.

        |eᵀPr| / √(eᵀP V_r P e) with P = V⁻¹; zero where the fit leans on the point alone.
        """
        unexplained = self.whitener - self.basis @ (self.basis.T @ self.whitener)
        variance = (unexplained**2).sum(axis=0)
        numerator = np.abs(self.whitener.T @ self.whitened_residuals)
        weight = (self.whitener**2).sum(axis=0)
        alone = variance < 1e-9 * weight
        return np.where(alone, 0.0, numerator / np.sqrt(np.where(alone, 1.0, variance)))


def solve(design: FloatArray, observed: FloatArray, whiten: FloatArray) -> Solution:
    """Generalised least squares: (n, k) design, (n,) observations, (n, n) whitener of their covariance.

    Raises NotSolvable for fewer points than parameters or a design that does not determine them.
    """
    points, parameters = design.shape
    if points < parameters:
        raise NotSolvable(f"{parameters} coefficients need at least {parameters} points; there are {points}")
    scaled = whiten @ design
    length = np.sqrt((scaled * scaled).sum(axis=0))
    if not all(one > 0 for one in length.tolist()):
        raise NotSolvable("a coefficient is touched by no point: choose a simpler equation")
    basis, strength, turned = np.linalg.svd(scaled / length, full_matrices=False)
    strongest, *_, weakest = strength.tolist() if parameters > 1 else strength.tolist() * 2
    if not weakest * _WORST_CONDITION > strongest:
        raise NotSolvable(
            "the points do not tell the coefficients apart: spread them or choose a simpler equation"
        )
    to_estimate = (turned.T / strength) @ basis.T / length[:, None]
    return Solution(to_estimate @ (whiten @ observed), observed, whiten, design, basis, to_estimate)


def ordinary(design: FloatArray, observed: FloatArray) -> tuple[Solution, float]:
    """Unweighted fit and the standard deviation s from its residuals (GUM H.3).

    The covariance of the estimate is `Solution.covariance` times s². Raises as `solve`, and NotSolvable
    when no degree of freedom is left for s.
    """
    solution = solve(design, observed, np.eye(len(observed)))
    if solution.degrees_of_freedom < 1:
        raise NotSolvable("no degree of freedom is left: s cannot be found from the residuals")
    return solution, float(np.sqrt(solution.chi_squared / solution.degrees_of_freedom))
