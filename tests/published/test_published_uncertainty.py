"""Least squares, type A and B, coverage factors and conformity against the GUM, JCGM 106 and ILAC-G8."""

from __future__ import annotations

import math

import numpy as np
import pytest

from daemon.fitting.conformity import Rule, Verdict, decide, false_acceptance_risk, probability_of_conformity
from daemon.fitting.coverage import coverage_factor, effective_degrees_of_freedom, student_factor
from daemon.fitting.errors import FittingError
from daemon.fitting.least_squares import ordinary, solve, whitener
from daemon.fitting.self_heating import uncorrected_component, zero_power
from daemon.fitting.type_a import type_a
from daemon.fitting.uncertainty import Component, point_budget


def _h3(published, t0_key):
    data = published("gum_h3_thermometer.toml")
    t = np.array([float(x) for x in data["input"]["tk_C"]])
    b = np.array([float(x) for x in data["input"]["bk_C"]])
    t0 = float(data[t0_key]["t0_C"]) if t0_key != "input" else float(data["input"]["t0_C"])
    solution, s = ordinary(np.stack([np.ones_like(t), t - t0], axis=1), b)
    at_30 = np.array([1.0, 30 - t0])
    return data, solution, s, s**2 * solution.covariance, at_30


def test_gum_h3_is_reproduced_to_the_published_digits(published):
    data, solution, s, covariance, at_30 = _h3(published, "input")
    printed, more = data["published"], data["computed"]
    sigma = np.sqrt(np.diagonal(covariance))
    correlation = covariance[0, 1] / sigma.prod()
    found = {
        "y1_C": solution.estimate[0],
        "s_y1_C": sigma[0],
        "y2": solution.estimate[1],
        "s_y2": sigma[1],
        "r_y1_y2": correlation,
        "s_C": s,
        "b_30_C": at_30 @ solution.estimate,
        "u_b_30_C": math.sqrt(at_30 @ covariance @ at_30),
    }
    for key, value in found.items():
        digits = len(printed[key].split(".")[1])
        assert f"{value:.{digits}f}" == printed[key]
    for key in ("y1_C", "y2", "s_y1_C", "s_y2", "r_y1_y2", "s_C", "u_b_30_C", "b_30_C"):
        source = more.get(key, more.get("b_30_C"))
        assert found[key] == pytest.approx(float(source), rel=1e-8)
    assert solution.chi_squared == pytest.approx(float(more["sum_sq_residuals"]), rel=1e-9)
    assert solution.degrees_of_freedom == printed["degrees_of_freedom"]
    fitted = solution.design @ solution.estimate
    assert [f"{x:.4f}" for x in fitted] == printed["predicted_bk_C"]
    assert [f"{x:+.4f}" for x in solution.residuals] == printed["residual_C"]


def test_gum_h3_referred_to_the_mean_has_uncorrelated_coefficients(published):
    data, solution, _, covariance, at_30 = _h3(published, "published_t0_mean")
    printed = data["published_t0_mean"]
    assert f"{solution.estimate[0]:.4f}" == printed["y1_C"]
    assert f"{math.sqrt(covariance[0, 0]):.4f}" == printed["s_y1_C"]
    assert f"{math.sqrt(covariance[1, 1]):.5f}" == printed["s_y2"]
    assert f"{at_30 @ solution.estimate:.4f}" == printed["b_30_C"]
    assert f"{math.sqrt(at_30 @ covariance @ at_30):.4f}" == printed["u_b_30_C"]
    assert abs(covariance[0, 1]) / math.sqrt(covariance[0, 0] * covariance[1, 1]) < 1e-3


def test_gum_h3_with_a_common_error_keeps_the_slope_and_widens_the_intercept(published):
    """The whole covariance goes through the fit: the common 0.005 °C moves the intercept only."""
    data, solution, s, _, _ = _h3(published, "input")
    common = float(data["systematic_variant"]["u_common_C"])
    covariance = s**2 * np.eye(11) + common**2
    whole = solve(
        solution.design, solution.design @ solution.estimate + solution.residuals, whitener(covariance)
    )
    u_y1, u_y2 = np.sqrt(np.diagonal(whole.covariance))
    assert u_y1 == pytest.approx(float(data["systematic_variant"]["u_y1_C"]), rel=1e-12)
    assert u_y2 == pytest.approx(float(data["systematic_variant"]["u_y2"]), rel=1e-12)
    parts = np.array([[math.sqrt(u_y1**2 - common**2), common]])
    dof = effective_degrees_of_freedom(parts, np.array([9.0, math.inf]))[0]
    assert dof == pytest.approx(float(data["systematic_variant"]["dof_y1"]), rel=1e-9)


def test_twenty_readings_of_the_gum_give_its_mean_and_scatter(published):
    data = published("gum_type_a_and_b_temperature.toml")["type_a"]
    found = type_a([float(t) for t in data["t_C"]], independent=True)
    assert found.mean == pytest.approx(float(data["mean_computed_C"]), abs=1e-9)
    assert found.standard_deviation == pytest.approx(float(data["s_computed_C"]), abs=6e-10)
    assert found.standard_of_mean == pytest.approx(float(data["s_mean_computed_C"]), abs=6e-10)
    assert (f"{found.mean:.3f}", f"{found.standard_deviation:.3f}") == (data["mean_C"], data["s_C"])
    assert f"{found.standard_of_mean:.3f}" == data["s_mean_C"]


def test_bounds_become_standard_uncertainties_as_in_the_gum(published):
    data = published("gum_type_a_and_b_temperature.toml")["type_b"]
    half = (float(data["upper_C"]) - float(data["lower_C"])) / 2
    for shape in ("rectangular", "triangular"):
        u = Component("bound", half * 1e3, "mK", shape).standard / 1e3
        assert u == pytest.approx(float(data[f"{shape}_u_computed_C"]), abs=6e-10)
        assert f"{u:.1f}" == data[f"{shape}_u_C"]


def test_coverage_factors_are_those_of_the_gum_table(published):
    for row in published("coverage_factors.csv"):
        for column, p in (("t95", 0.95), ("t9545", 0.9545)):
            k = student_factor(float(row["nu"]), p)
            assert k == pytest.approx(float(row[f"{column}_calc"]), abs=6e-7)
            digits = len(row[f"{column}_published"].split(".")[1])
            assert f"{k:.{digits}f}" == row[f"{column}_published"]


def test_probabilities_of_conformity_are_those_of_the_guide(published):
    for example in published("conformity.toml")["example"]:
        limits = {key: float(example[key]) for key in ("lower", "upper") if key in example}
        p = probability_of_conformity(float(example["y"]), float(example["u"]), **limits)
        assert p == pytest.approx(float(example["p_conform_computed"]), abs=6e-10)
        assert f"{p:.2f}" == example["p_conform_published"]


def test_one_sided_limits_are_those_of_the_guide(published):
    table = published("conformity.toml")["one_sided"]
    for p, z in table["z_computed"].items():
        assert probability_of_conformity(0.0, 1.0, upper=float(z)) == pytest.approx(float(p), abs=2e-7)
        assert f"{float(z):.2f}" == table["z_published"][p]


def test_guard_bands_leave_the_published_risk(published):
    units = {"%": 0.01, "ppm": 1e-6}
    for band in published("conformity.toml")["guard_band"]:
        risk = false_acceptance_risk(float(band["r"]))
        assert risk == pytest.approx(float(band["risk_computed"]), rel=1e-5)
        number, unit = band["risk_published_less_than"].split()
        assert risk <= float(number) * units[unit]


@pytest.mark.parametrize(
    ("error", "verdict"),
    [
        (0.199, Verdict.PASS),
        (-0.21, Verdict.CONDITIONAL_PASS),
        (0.31, Verdict.CONDITIONAL_FAIL),
        (-0.41, Verdict.FAIL),
    ],
)
def test_the_four_words_follow_the_guard_band(error, verdict):
    assert decide(error, 0.1, 0.3, Rule.GUARD_BAND) is verdict


def test_simple_acceptance_ignores_the_uncertainty():
    assert decide(0.3, 5.0, 0.3, Rule.SIMPLE) is Verdict.PASS
    assert decide(-0.3001, 0.0, 0.3, Rule.SIMPLE) is Verdict.FAIL


def test_probability_decides_between_the_four_words():
    outcomes = [decide(e, 0.1, 0.3, Rule.PROBABILITY) for e in (0.2, 0.25, 0.33, 0.45)]
    assert outcomes == list(Verdict)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_no_verdict_comes_from_a_number_that_is_none(bad):
    for error, u, tolerance in ((bad, 0.1, 0.3), (0.1, bad, 0.3), (0.1, 0.1, bad)):
        with pytest.raises(FittingError, match="cannot judge"):
            decide(error, u, tolerance, Rule.GUARD_BAND)


def test_zero_power_resistance_of_the_invented_readings(published):
    for row in published("self_heating_hydrostatic.toml")["self_heating"]:
        i1, i2, r1, r2 = (float(row[key]) for key in ("I1_mA", "I2_mA", "R1_ohm", "R2_ohm"))
        found = zero_power((i1, r1), (i2, r2), (1e-6, 1e-6))
        assert found.resistance_ohm == pytest.approx(float(row["R_zero_ohm"]), abs=6e-10)
        assert found.standard_ohm / 1e-6 == pytest.approx(float(row["u_R_zero_over_u"]), rel=1e-6)
        per_kelvin = {"25": 0.1017, "138": 0.3793, "100": 0.3909}[row["R1_ohm"].split(".")[0]]
        assert 1e3 * found.heating_ohm / per_kelvin == pytest.approx(
            float(row["self_heating_at_I1_mK"]), abs=6e-5
        )


@pytest.mark.parametrize("currents", [(1.0, 1.0), (1.0, 1.05), (0.0, 1.0), (1.0, math.nan)])
def test_currents_too_close_to_extrapolate_from_are_refused(currents):
    with pytest.raises(FittingError, match="too close"):
        zero_power((currents[0], 100.0), (currents[1], 100.1))


def test_uncorrected_heating_is_a_common_rectangular_term():
    term = uncorrected_component(2.1)
    assert (term.correlation, term.standard) == ("common", pytest.approx(2.1 / 3**0.5))


def test_one_dominating_rectangle_has_the_factor_of_a_rectangle():
    """0.95·√3 = 1.645 instead of 1.96."""
    budget = point_budget("100 °C", 100.0, 138.5, 0.379, [Component("uniformity", 60, "mK", "rectangular")])
    assert budget.coverage_factor == pytest.approx(0.95 * math.sqrt(3), abs=2e-3)
    assert budget.expanded_mk == pytest.approx(57.0, abs=0.1)


@pytest.mark.parametrize("ratio", [0.1, 0.5, 1.0, 3.0])
def test_two_rectangles_have_the_factor_of_their_trapezoid(ratio):
    """Half-widths 1 and `ratio`: beyond x on the slopes lies (a + b - x)²/(4ab), both sides together."""
    a, b = 1.0, ratio
    on_slope = a + b - math.sqrt(4 * a * b * 0.05)
    quantile = on_slope if on_slope > abs(a - b) else 0.95 * max(a, b)
    parts = np.array([[a, b]]) / math.sqrt(3)
    found = coverage_factor(parts, ["rectangular"] * 2, np.array([math.inf]), 0.95)[0]
    assert found == pytest.approx(quantile / math.hypot(*parts[0]), abs=3e-3)


def test_many_small_terms_have_the_normal_factor_and_few_readings_a_larger_one():
    terms = [Component(f"term {i}", 1, "mK", "rectangular") for i in range(40)]
    assert point_budget("x", 20.0, 107.0, 0.39, terms).coverage_factor == pytest.approx(1.96, abs=0.01)
    few = [Component("repeatability", 1, "mK", degrees_of_freedom=4)]
    assert point_budget("x", 20.0, 107.0, 0.39, few).coverage_factor == pytest.approx(2.776, abs=1e-3)


def test_a_budget_states_each_line_in_its_unit_and_in_millikelvins():
    terms = [
        Component("reference", 4, "mK", divisor=2),
        Component("readout", 0.4e-3, "ohm", "rectangular"),
        Component("ratio", 2, "ppm", "rectangular", shape="resistance"),
        Component("stem", 3, "mK", "rectangular", shape="ambient_excess", ambient_c=20),
    ]
    budget = point_budget("100 °C", 100.0, 138.5, 0.379, terms)
    sizes = [line.standard_mk for line in budget.lines]
    root3 = math.sqrt(3)
    expected = [2, 1e3 * 0.4e-3 / 0.379 / root3, 1e3 * 2e-6 * 138.5 / 0.379 / root3, 3 * 0.8 / root3]
    assert sizes == pytest.approx(expected, rel=1e-12)
    assert budget.combined_mk == pytest.approx(math.sqrt(sum(x * x for x in expected)))
    for line in budget.lines:
        assert line.standard * line.sensitivity_mk_per_unit == pytest.approx(line.standard_mk)


@pytest.mark.parametrize(
    "bad",
    [
        {"name": " "},
        {"size": -1.0},
        {"size": math.nan},
        {"unit": "K"},
        {"distribution": "uniform"},
        {"divisor": 0.0},
        {"degrees_of_freedom": 0.5},
        {"correlation": "half"},
        {"shape": "parabola"},
        {"unit": "ppm"},
        {"shape": "resistance"},
        {"shape": "table"},
        {"shape": "table", "table": ((10.0, 1.0), (0.0, 1.0))},
        {"shape": "table", "table": ((0.0, math.nan),)},
        {"ambient_c": math.nan},
    ],
)
def test_a_budget_term_that_makes_no_sense_is_refused_by_name(bad):
    with pytest.raises(FittingError, match="uncertainty term"):
        Component(**{"name": "drift", "size": 1.0, **bad})
