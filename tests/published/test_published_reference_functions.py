"""The ITS-90 reference functions against Metrologia 27 (1990) 3-10, and against 40-digit arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from daemon.fitting import its90
from daemon.fitting.errors import OutsideRange


def test_every_published_coefficient_is_carried_over_digit_by_digit(published):
    functions = published("its90_reference_functions.toml")
    held = {("low", "A"): its90._A, ("low", "B"): its90._B, ("high", "C"): its90._C, ("high", "D"): its90._D}
    for (branch, letter), values in held.items():
        assert [float(text) for text in functions[branch][letter]] == list(values)


def test_the_reference_functions_give_the_printed_ratio_at_each_fixed_point(published):
    for row in published("its90_fixed_points.csv"):
        if row["wr_published"] and row["substance"] != "H2O":
            found = float(its90.reference_ratio(float(row["t90_C"])))
            assert abs(found - float(row["wr_published"])) < 5.001e-9
            assert found == pytest.approx(float(row["wr_calc"]), abs=6e-12)
            slope = float(its90.reference_slope_per_k(float(row["t90_C"])))
            assert slope == pytest.approx(float(row["dwrdt_calc"]), rel=1e-7)


def test_a_misprinted_coefficient_would_be_seen_at_the_fixed_points(published):
    """A5 = -0.61893395 circulates; it must not pass the check above."""
    row = next(r for r in published("its90_fixed_points.csv") if r["substance"] == "Hg")
    x = (np.log(float(row["T90_K"]) / 273.16) + 1.5) / 1.5
    misprinted = [*its90._A[:5], -0.61893395, *its90._A[6:]]
    assert abs(np.exp(np.polyval(misprinted[::-1], x)) - float(row["wr_published"])) > 1e-6


def test_ratios_and_slopes_agree_with_forty_digit_arithmetic(published):
    rows = published("its90_wr_computed.csv")
    t = np.array([float(row["t90_C"]) for row in rows])
    ratio = np.array([float(row["wr"]) for row in rows])
    slope = np.array([float(row["dwrdt_per_K"]) for row in rows])
    assert np.abs(its90.reference_ratio(t) / ratio - 1).max() < 1e-12
    assert np.abs(its90.reference_slope_per_k(t) / slope - 1).max() < 5e-10
    assert np.abs(its90.temperature_c(ratio) - t).max() < 1e-9


def test_the_exact_inverse_agrees_with_the_forty_digit_root(published):
    rows = published("its90_inverse_computed.csv")
    ratio = np.array([float(row["wr"]) for row in rows])
    root = np.array([float(row["t90_C"]) for row in rows])
    assert np.abs(its90.temperature_c(ratio) - root).max() < 1e-9
    assert max(abs(its90.temperature_of_one_c(w) - t) for w, t in zip(ratio, root, strict=True)) < 1e-9


def test_the_exact_inverse_stays_on_newtons_root_over_the_whole_scale():
    deep, low, high = (
        np.linspace(*span, 20_000) for span in ((0.0012, 0.2155), (0.2155, 0.99999), (1.0, 4.28642))
    )
    for branch, ratio in ((its90.LOW, deep), (its90.LOW, low), (its90.HIGH, high)):
        assert np.abs(its90.temperature_c(ratio) - branch.newton_c(ratio, steps=5)).max() < 7e-10


def test_the_published_inverses_err_by_as_much_as_was_found(published):
    """0.0957 mK and 0.1342 mK; the printed 0.13 mK is a rounded figure."""
    functions = published("its90_reference_functions.toml")
    for branch, key, span in ((its90.LOW, "low", (-259.34, 0.0)), (its90.HIGH, "high", (0.01, 961.78))):
        t = np.linspace(*span, 200_001)
        worst_mk = 1e3 * np.abs(branch.published_inverse_c(branch.ratio(t)) - t).max()
        assert worst_mk == pytest.approx(float(functions[key]["inverse_largest_error_found_mK"]), abs=2e-4)


def test_the_published_inverse_column_is_reproduced(published):
    for row in published("its90_wr_computed.csv"):
        branch = its90.LOW if float(row["t90_C"]) < 0.01 else its90.HIGH
        approximate = branch.published_inverse_c(np.array([float(row["wr"])]))[0]
        assert approximate == pytest.approx(float(row["t_from_wr_approx_C"]), abs=6e-8)


def test_facts_about_the_two_functions_at_the_triple_point_of_water(published):
    facts = {key: value for key, value in published("its90_reference_functions.toml")["facts"].items()}
    at = {("low", t): float(its90.LOW.ratio(np.array([t]))[0]) for t in (0.0, 0.01)}
    at |= {("high", t): float(its90.HIGH.ratio(np.array([t]))[0]) for t in (0.0, 0.01)}
    assert at["low", 0.0] == pytest.approx(float(facts["wr_at_273_15_low_function"]), abs=1e-13)
    assert at["high", 0.0] == pytest.approx(float(facts["wr_at_273_15_high_function"]), abs=1e-13)
    assert at["low", 0.01] == pytest.approx(float(facts["wr_at_273_16_low_function"]), abs=1e-13)
    assert at["high", 0.01] == pytest.approx(float(facts["wr_at_273_16_high_function"]), abs=1e-13)
    at_100 = float(its90.reference_ratio(100.0))
    assert at_100 == pytest.approx(float(facts["wr_at_100C"]), abs=1e-11)
    alpha = (at_100 / at["high", 0.0] - 1) / 100
    assert alpha == pytest.approx(float(facts["alpha_reference_function_per_K"]), rel=3e-7)
    assert 1 / at["low", 0.0] == pytest.approx(float(facts["ratio_R_tpw_over_R_ice"]), abs=3e-10)


def test_the_celsius_number_decides_which_function_serves_at_the_triple_point():
    assert float(its90.reference_ratio(0.01)) == float(its90.HIGH.ratio(np.array([0.01]))[0])
    assert float(its90.reference_ratio(0.0099999)) == float(its90.LOW.ratio(np.array([0.0099999]))[0])


@pytest.mark.parametrize("temperature_c", [-259.3468, 961.79, float("nan"), float("inf")])
def test_a_temperature_off_the_scale_is_refused_with_the_range(temperature_c):
    with pytest.raises(OutsideRange, match=r"-259\.3467 °C to 961\.78 °C"):
        its90.reference_ratio([20.0, temperature_c])


@pytest.mark.parametrize("ratio", [0.00119, 4.2865, float("nan"), -1.0])
def test_a_ratio_off_the_scale_is_refused_with_the_range(ratio):
    with pytest.raises(OutsideRange, match=r"0\.00119007 to 4\.28642053"):
        its90.temperature_c([1.1, ratio])
    with pytest.raises(OutsideRange, match=r"0\.00119007 to 4\.28642053"):
        its90.temperature_of_one_c(ratio)


def test_arrays_keep_their_shape_and_an_empty_one_stays_empty():
    grid = np.linspace(-200, 600, 12).reshape(3, 4)
    assert its90.temperature_c(its90.reference_ratio(grid)).shape == (3, 4)
    assert its90.temperature_c([]).size == 0 and its90.reference_ratio([]).size == 0
