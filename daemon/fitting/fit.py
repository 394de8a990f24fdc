"""From points and a budget to a characteristic: generalised least squares on any of the equations.

The fit works in kelvins: residual = temperature by the equation minus temperature of the reference.
Gauss-Newton steps start unweighted; the budget's covariance then weighs them (ohms become
kelvins by dR/dt).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from daemon.fitting import cautions, its90
from daemon.fitting.arrays import FloatArray
from daemon.fitting.characteristic import Characteristic, Factor, FitRecord
from daemon.fitting.equation import Equation, Grid
from daemon.fitting.equations import resolve
from daemon.fitting.errors import NotSolvable
from daemon.fitting.least_squares import Solution, solve, whitener
from daemon.fitting.points import PointResult, Source, covariance_k2, gather
from daemon.fitting.residuals import judge_residuals
from daemon.fitting.uncertainty import Component

_MOST_STEPS = 12
# The equations are so nearly linear that the step after one this small would be below 1e-8 K.
_STEP_DONE_K = 1e-3

# A plan's range may pass the outermost realised points by this much: common practice, no source.
_RANGE_ALLOWANCE_K = 1.0


@dataclass(frozen=True, eq=False)
class Problem:
    """A fit and all it was made from; arrays over the n points used. `theta` is (k,)."""

    equation: Equation
    grid: Grid
    temperature_c: FloatArray
    resistance_ohm: FloatArray
    theta: FloatArray
    solution: Solution
    sources: tuple[Source, ...]
    covariance_k2: FloatArray


def solve_points(
    points: Sequence[PointResult], equation: Equation, components: Sequence[Component]
) -> Problem:
    """Fit the equation to the points given; raises NotSolvable when they do not determine it."""
    if len(points) < len(equation.parameters):
        raise NotSolvable(
            f"{len(equation.parameters)} coefficients ({', '.join(equation.parameters)}) need at least as "
            f"many points; there are {len(points)}"
        )
    temperature = np.array([point.temperature_c for point in points])
    resistance = np.array([point.resistance_ohm for point in points])
    grid = equation.at(temperature)
    theta = grid.start(resistance)
    first = grid.linearise(resistance, theta)
    theta = theta + solve(first.gradient_k, first.residual_k, np.eye(len(points))).estimate
    now = grid.linearise(resistance, theta)
    sources = gather(points, components, resistance, now.sensitivity_ohm_per_k)
    covariance = covariance_k2(sources) if sources else np.zeros((len(points),) * 2)
    whiten = whitener(covariance)
    for _ in range(_MOST_STEPS):
        solution = solve(now.gradient_k, now.residual_k, whiten)
        theta = theta + solution.estimate
        if np.abs(now.gradient_k @ solution.estimate).max() < _STEP_DONE_K:
            return Problem(
                equation, grid, temperature, resistance, theta, solution, tuple(sources), covariance
            )
        now = grid.linearise(resistance, theta)
    raise NotSolvable(f"{equation.description}: the fit does not settle; look for a point far off the others")


def fit_characteristic(
    points: Sequence[PointResult],
    equation: str | Equation,
    components: Sequence[Component] = (),
    *,
    between_points: Sequence[Component] = (),
    range_c: tuple[float, float] | None = None,
    exact: bool = False,
    reason: str = "",
) -> Characteristic:
    """Fit one thermometer.

    `equation` is an equation, or "its90", "callendar_van_dusen" or "polynomial" for the form that suits the
    span. `components` act on the points and go through the fit; `between_points` (non-uniqueness, misfit of
    the equation, hysteresis) are added to u(t) at every temperature. `range_c` may pass the outermost points
    by 1 K at most. With no degree of freedom left the fit is refused unless `exact` is asked for.
    Excluded points stay in the record and `with_excluded` is the same fit with them. Raises NotSolvable.
    """
    used = [point for point in points if point.excluded_because is None]
    if not used:
        raise NotSolvable("no point is left to fit: every one is excluded")
    form = (
        resolve(equation, [point.temperature_c for point in used]) if isinstance(equation, str) else equation
    )
    problem = solve_points(used, form, components)
    _refuse_without_test(problem, exact, len(used) < len(points))
    record = _record(points, components, problem)
    characteristic = characteristic_of(problem, between_points, range_c, reason, record)
    if len(used) == len(points):
        return characteristic
    everything = [replace(point, excluded_because=None) for point in points]
    both = fit_characteristic(
        everything, form, components, between_points=between_points, exact=exact, reason=reason
    )
    return replace(characteristic, with_excluded=both)


def characteristic_of(
    problem: Problem,
    between_points: Sequence[Component] = (),
    range_c: tuple[float, float] | None = None,
    reason: str = "",
    record: FitRecord | None = None,
) -> Characteristic:
    """The characteristic of a solved problem; without a record its residuals have not been judged."""
    return Characteristic(
        equation=problem.equation,
        theta=tuple(map(float, problem.theta)),
        range_c=_range(problem.temperature_c, range_c),
        factors=_factors(problem),
        added=tuple(between_points),
        reason=reason,
        cautions=_cautions(problem),
        fit=record,
    )


def _refuse_without_test(problem: Problem, exact: bool, some_excluded: bool) -> None:
    if problem.solution.degrees_of_freedom > 0 or (exact and not some_excluded):
        return
    if some_excluded:
        raise NotSolvable("excluding these points leaves no degree of freedom: the fit could not be tested")
    raise NotSolvable(
        f"{len(problem.theta)} coefficients from {len(problem.temperature_c)} points leave no degree of "
        "freedom: add points, choose a simpler equation, or ask for the exact solution, printed as untested"
    )


def _range(temperature_c: FloatArray, asked_c: tuple[float, float] | None) -> tuple[float, float]:
    lowest, highest = float(temperature_c.min()), float(temperature_c.max())
    if asked_c is None:
        return lowest, highest
    if not (lowest - _RANGE_ALLOWANCE_K <= asked_c[0] < asked_c[1] <= highest + _RANGE_ALLOWANCE_K):
        raise NotSolvable(
            f"range {asked_c[0]} °C to {asked_c[1]} °C asked for, but the points reach from "
            f"{lowest:.3f} °C to {highest:.3f} °C; results hold only in the calibrated range"
        )
    if not (asked_c[0] >= its90.LOWEST_C and asked_c[1] <= its90.HIGHEST_C):
        raise NotSolvable(
            f"range {asked_c[0]} °C to {asked_c[1]} °C passes the scale of platinum thermometers, "
            f"{its90.LOWEST_C:.4f} °C to {its90.HIGHEST_C} °C"
        )
    return float(asked_c[0]), float(asked_c[1])


def _factors(problem: Problem) -> tuple[Factor, ...]:
    influence = problem.solution.influence
    # All common sources in one product: many small ones cost more than they compute.
    common = [source.standard_k for source in problem.sources if source.common]
    columns = iter((influence @ np.array(common).T).T[:, :, None] if common else ())
    return tuple(
        Factor(
            source.name,
            source.distribution,
            source.degrees_of_freedom,
            next(columns) if source.common else influence * source.standard_k,
        )
        for source in problem.sources
    )


def _cautions(problem: Problem) -> tuple[str, ...]:
    sentences = list(cautions.ALWAYS)
    freedom = problem.solution.degrees_of_freedom
    if freedom < 2:
        sentences.append(cautions.ONE_DEGREE_OF_FREEDOM if freedom else cautions.NO_TEST)
    return tuple(sentences)


def _record(points: Sequence[PointResult], components: Sequence[Component], problem: Problem) -> FitRecord:
    now = problem.grid.residual_k(problem.resistance_ohm[:, None], problem.theta[:, None])[:, 0]
    standard = np.sqrt(np.diagonal(problem.covariance_k2))
    solution = problem.solution
    return FitRecord(
        points=tuple(points),
        components=tuple(components),
        residuals_mk=tuple(map(float, 1e3 * now)),
        point_standard_mk=tuple(map(float, 1e3 * standard)),
        leave_one_out=tuple(map(float, solution.leave_one_out)),
        chi_squared=solution.chi_squared,
        degrees_of_freedom=solution.degrees_of_freedom,
        findings=judge_residuals(now, standard, solution),
    )
