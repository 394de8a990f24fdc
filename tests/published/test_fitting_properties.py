"""What must hold for every thermometer, whatever its coefficients: hypothesis draws them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.fitting import its90
from daemon.fitting.callendar_van_dusen import IEC_A, IEC_B, IEC_C
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.equation import Equation
from daemon.fitting.equation_callendar_van_dusen import CallendarVanDusen
from daemon.fitting.equation_its90 import its90_form
from daemon.fitting.equation_polynomial import DeviationPolynomial
from daemon.fitting.fit import fit_characteristic
from daemon.fitting.points import PointResult
from daemon.fitting.uncertainty import Component

_BUDGET = (
    Component("reference", 4, divisor=2),
    Component("uniformity", 2, "mK", "rectangular", correlation="random"),
    Component("bridge", 1, "ppm", shape="resistance"),
)


def _share(lowest: float, highest: float) -> st.SearchStrategy[float]:
    return st.floats(lowest, highest, allow_nan=False)


@st.composite
def thermometers(draw: st.DrawFn) -> Characteristic:
    """An SPRT or an industrial thermometer in one of the three forms, over a range that suits it."""
    r0 = draw(st.sampled_from([0.25, 10.0, 25.5, 100.0, 1000.0])) * draw(_share(0.999, 1.001))
    kind = draw(st.sampled_from(["its90", "cvd", "polynomial"]))
    if kind == "cvd":
        theta = (
            r0,
            IEC_A * draw(_share(0.99, 1.01)),
            IEC_B * draw(_share(0.95, 1.05)),
            IEC_C * draw(_share(0.5, 1.5)),
        )
        return Characteristic(CallendarVanDusen(None), theta, (-200.0, draw(_share(100, 850))))
    if kind == "polynomial":
        theta = tuple(r0 * draw(_share(-1e-4, 1e-4)) for _ in range(3))
        return Characteristic(DeviationPolynomial(2, r0), theta, (-100.0, 300.0))
    low, high = draw(
        st.sampled_from([("3.3.1.3", "3.3.2.1"), ("3.3.3", "3.3.3"), (None, "3.3.2"), ("3.3.1.2", None)])
    )
    form = its90_form(low, high)
    alpha = draw(st.sampled_from([-2e-4, -1.95e-2]))
    theta = [r0] + [
        (alpha if name.startswith("a") else 3e-5) * draw(_share(0.5, 1.2)) for name in form.parameters[1:]
    ]
    ends = (form.parts[0].subrange.lower_c, form.parts[-1].subrange.upper_c)
    return Characteristic(form, tuple(theta), ends)


@settings(max_examples=150, deadline=None)
@given(thermometers(), st.lists(_share(0, 1), min_size=1, max_size=20))
def test_temperature_to_resistance_and_back_is_the_identity(thermometer, places):
    low, high = thermometer.range_c
    t = low + (high - low) * np.array(places)
    back = thermometer.temperature_c(thermometer.resistance_ohm(t))
    seam = np.abs(t - 0.01) < 1e-5
    assert np.abs(back - t)[~seam].max(initial=0) < 1e-9
    assert np.abs(back - t).max() < 3e-6


@settings(max_examples=100, deadline=None)
@given(thermometers(), _share(0, 1))
def test_one_value_and_an_array_of_values_agree(thermometer, place):
    low, high = thermometer.range_ohm
    ohms = low + (high - low) * place
    one = thermometer.temperature_c(ohms)
    assert isinstance(one, float)
    assert one == pytest.approx(float(thermometer.temperature_c([ohms])[0]), abs=2e-10)


@settings(max_examples=60, deadline=None)
@given(thermometers())
def test_resistance_rises_with_temperature_and_its_slope_is_its_derivative(thermometer):
    low, high = thermometer.range_c
    t = np.linspace(low + 0.01, high - 0.01, 300)
    assert (np.diff(thermometer.resistance_ohm(t)) > 0).all()
    away = t[np.abs(t - 0.01) > 0.02]
    numeric = (thermometer.resistance_ohm(away + 1e-3) - thermometer.resistance_ohm(away - 1e-3)) / 2e-3
    assert np.allclose(thermometer.sensitivity_ohm_per_k(away), numeric, rtol=1e-5)


@settings(max_examples=60, deadline=None)
@given(thermometers())
def test_the_two_sides_meet_at_the_triple_point_of_water(thermometer):
    """The published functions step by 1.4 µK there; nothing may add to it."""
    low, high = thermometer.range_c
    if low < 0 < 0.02 < high:
        below, above = thermometer.resistance_ohm([0.01 - 1e-9, 0.01])
        step_k = (above - below) / float(thermometer.sensitivity_ohm_per_k(0.01))
        assert abs(step_k) < 3e-6


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(["its90", "callendar_van_dusen"]), _share(0.3, 40), st.integers(0, 2**31))
def test_a_scaled_thermometer_gives_the_scaled_r0_and_the_same_temperatures(equation, scale, seed):
    """Every ohm times one factor: coefficients, residuals and u(t) stay, R0 follows."""
    generator = np.random.default_rng(seed)
    t = np.linspace(-80, 200, 10)
    ohms = CallendarVanDusen(None).at(t).resistance_ohm(np.array([100.0, IEC_A, IEC_B, IEC_C]))
    ohms = ohms + generator.normal(size=10) * 5e-4
    first, second = (_fit(t, ohms * factor, 5e-4 * factor, equation) for factor in (1.0, scale))
    assert second.theta[0] / first.theta[0] == pytest.approx(scale, rel=1e-9)
    assert second.theta[1:] == pytest.approx(first.theta[1:], rel=1e-6, abs=1e-16)
    assert second.residuals_mk == pytest.approx(first.residuals_mk, abs=1e-5)
    grid = np.linspace(-80, 200, 15)
    assert np.allclose(second.standard_uncertainty_k(grid), first.standard_uncertainty_k(grid), rtol=1e-7)
    assert second.chi_squared == pytest.approx(first.chi_squared, rel=1e-6)


def _fit(t: np.ndarray, ohms: np.ndarray, random_ohm: float, equation: str | Equation) -> Characteristic:
    points = [PointResult(f"{x:g} °C", float(x), float(r), random_ohm) for x, r in zip(t, ohms, strict=True)]
    return fit_characteristic(points, equation, _BUDGET)


@settings(max_examples=40, deadline=None)
@given(thermometers(), st.integers(0, 2**31))
def test_a_fit_to_noiseless_points_finds_the_thermometer_again(thermometer, seed):
    low, high = thermometer.range_c
    t = np.linspace(low, high, len(thermometer.theta) + 4)
    t = t + np.random.default_rng(seed).uniform(-1, 1, t.size) * (high - low) / 200 * np.array(
        [0, *[1] * (t.size - 2), 0]
    )
    ohms = thermometer.resistance_ohm(t)
    found = _fit(
        t, ohms, thermometer.theta[0] * 1e-6 if thermometer.theta[0] > 0.1 else 1e-4, thermometer.equation
    )
    grid = np.linspace(low, high, 40)
    assert (
        np.abs(found.temperature_c(np.clip(thermometer.resistance_ohm(grid), *found.range_ohm)) - grid).max()
        < 2e-6
    )


@settings(max_examples=200, deadline=None)
@given(st.lists(_share(0.0012, 4.28), min_size=1, max_size=50))
def test_the_scale_itself_goes_forth_and_back(ratios):
    w = np.array(ratios)
    t = its90.temperature_c(w)
    away = np.abs(w - 1) > 2e-8
    assert np.abs(its90.reference_ratio(t) / w - 1)[away].max(initial=0) < 1e-11
