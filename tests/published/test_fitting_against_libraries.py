"""The fit's uncertainty against general-purpose uncertainty libraries, which differentiate on their own."""

from __future__ import annotations

import GTC
import numpy as np
import pytest
import uncertainties
from uncertainties import umath

from daemon.fitting import its90
from daemon.fitting.equation_callendar_van_dusen import CallendarVanDusen
from daemon.fitting.equation_its90 import its90_form
from daemon.fitting.fit import fit_characteristic, solve_points
from daemon.fitting.points import PointResult
from daemon.fitting.uncertainty import Component

_RANDOM_OHM = 2e-5
_COMMON_MK, _SLOPE_MK = 0.7, 0.3
_BUDGET = (
    Component("reference", _COMMON_MK),
    Component("reference slope", _SLOPE_MK, shape="ambient_excess", ambient_c=0.0),
)


def _points(equation, theta, t, noise_seed=3):
    ohms = equation.at(t).resistance_ohm(np.array(theta))
    ohms = ohms + np.random.default_rng(noise_seed).normal(size=t.size) * _RANDOM_OHM
    return [PointResult(f"{x:g} °C", float(x), float(r), _RANDOM_OHM) for x, r in zip(t, ohms, strict=True)]


def _normal_equations(rows, observed):
    """Weighted least squares written out for any number type: θ = (JᵀJ)⁻¹Jᵀy by elimination."""
    size = len(rows[0])
    matrix = [[sum(r[i] * r[j] for r in rows) for j in range(size)] for i in range(size)]
    right = [sum(r[i] * y for r, y in zip(rows, observed, strict=True)) for i in range(size)]
    for i in range(size):
        for k in range(size):
            if k != i:
                factor = matrix[k][i] / matrix[i][i]
                matrix[k] = [a - factor * b for a, b in zip(matrix[k], matrix[i], strict=True)]
                right[k] = right[k] - factor * right[i]
    return [right[i] / matrix[i][i] for i in range(size)]


def test_its90_fit_agrees_with_gtc_on_u_at_every_temperature():
    """GTC carries each input through an estimate with our weights; both propagate the same covariance."""
    form, t = its90_form(None, "3.3.2.2"), np.array([0.01, 60, 120, 180, 232, 300, 350, 400.0])
    points = _points(form, (25.5, -2.4e-4, -1.7e-5), t)
    problem = solve_points(points, form, _BUDGET)
    characteristic = fit_characteristic(points, form, _BUDGET)
    common, slope = GTC.ureal(0, _COMMON_MK * 1e-3), GTC.ureal(0, _SLOPE_MK * 1e-3)
    theta = [GTC.ureal(0, 0) + float(x) for x in problem.theta]
    now = problem.grid.linearise(problem.resistance_ohm, problem.theta)
    errors = [
        GTC.ureal(0, _RANDOM_OHM) / float(s) + common + slope * (float(x) / 100)
        for s, x in zip(now.sensitivity_ohm_per_k, t, strict=True)
    ]
    for k in range(len(theta)):
        theta[k] = theta[k] + sum(
            float(g) * e for g, e in zip(problem.solution.influence[k], errors, strict=True)
        )
    for where in (5.0, 50.0, 150.0, 270.0, 399.0):
        w = float(characteristic.resistance_ohm(where)) / theta[0]
        excess = w - 1
        wr = w - theta[1] * excess - theta[2] * excess * excess
        u_t = GTC.uncertainty(wr) / float(its90.reference_slope_per_k(where))
        assert float(characteristic.standard_uncertainty_k(where)) == pytest.approx(u_t, rel=1e-7)


def test_callendar_van_dusen_fit_agrees_with_automatic_differentiation():
    """The whole straight-line code, elimination included, run on numbers that carry their own derivatives."""
    t = np.array([0.0, 40, 80, 120, 160, 200.0])
    form = CallendarVanDusen()
    points = _points(form, (100.01, 3.9083e-3, -5.775e-7), t)
    characteristic = fit_characteristic(points, form, ())
    r0, a, b = characteristic.theta
    rows, observed = [], []
    for point in points:
        weight = (
            1
            / (_RANDOM_OHM / (r0 * (a + 2 * b * point.temperature_c)))
            / (r0 * (a + 2 * b * point.temperature_c))
        )
        x = point.temperature_c
        rows.append([weight, weight * x / 100, weight * (x / 100) ** 2])
        observed.append(weight * uncertainties.ufloat(point.resistance_ohm, _RANDOM_OHM))
    p0, p1, p2 = _normal_equations(rows, observed)
    assert p0.nominal_value == pytest.approx(r0, rel=1e-11)
    assert (p1 / p0).nominal_value == pytest.approx(100 * a, rel=1e-9)
    assert (p2 / p0).nominal_value == pytest.approx(1e4 * b, rel=1e-6)
    for where in (0.5, 33.0, 111.0, 199.0):
        ohms = float(characteristic.resistance_ohm(where))
        root = umath.sqrt(p1 * p1 - 4 * p2 * (p0 - ohms))
        t90 = 100 * 2 * (ohms - p0) / (p1 + root)
        assert t90.nominal_value == pytest.approx(where, abs=1e-8)
        assert float(characteristic.standard_uncertainty_k(where)) == pytest.approx(t90.std_dev, rel=1e-6)


def test_generalised_least_squares_agrees_with_the_textbook_inverse():
    """(JᵀV⁻¹J)⁻¹JᵀV⁻¹ in long double on a well-conditioned problem."""
    form, t = (
        its90_form("3.3.1.3", "3.3.2.3"),
        np.array([-189, -150, -100, -40, 0.01, 50, 100, 160, 200, 231.0]),
    )
    problem = solve_points(_points(form, (25.5, -2e-4, 1e-5, -2.4e-4, -1.7e-5), t), form, _BUDGET)
    design, inverse = problem.solution.design, np.linalg.inv(problem.covariance_k2)
    scale = np.sqrt((design**2).sum(axis=0))
    normal = (design / scale).T @ inverse @ (design / scale)
    influence = np.linalg.solve(normal, (design / scale).T @ inverse) / scale[:, None]
    assert np.allclose(problem.solution.influence, influence, rtol=1e-6, atol=1e-9 * np.abs(influence).max())
    covariance = influence @ problem.covariance_k2 @ influence.T
    assert np.allclose(
        problem.solution.covariance, covariance, rtol=1e-6, atol=1e-9 * np.abs(covariance).max()
    )
