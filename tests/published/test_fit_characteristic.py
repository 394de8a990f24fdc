"""What a fit promises the person who reads its result."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from daemon.fitting import cautions
from daemon.fitting.certificate_entry import from_its90_certificate
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.choice import choose_equation, misfit_component
from daemon.fitting.classes import tolerance_class
from daemon.fitting.comparison import compare, en_number
from daemon.fitting.conformity import Rule, Verdict, judge_class
from daemon.fitting.equation_callendar_van_dusen import CallendarVanDusen
from daemon.fitting.equation_its90 import its90_form
from daemon.fitting.equation_polynomial import DeviationPolynomial
from daemon.fitting.errors import FittingError, NotSolvable, OutsideRange
from daemon.fitting.exchange import from_dict, to_dict
from daemon.fitting.fit import fit_characteristic
from daemon.fitting.monte_carlo import monte_carlo
from daemon.fitting.points import PointResult, triple_point_result
from daemon.fitting.printing import (
    ROUNDING_COST_MK,
    as_printed,
    check_pairs,
    printed_coefficients,
    ratios_for_acceptance,
    rounding_cost_mk,
)
from daemon.fitting.table import as_csv, as_text, table_rows, two_digits
from daemon.fitting.uncertainty import Component

BATH = (
    Component("reference calibration", 4, divisor=2, note="certificate of 2026-03-02"),
    Component("reference drift", 3, "mK", "rectangular"),
    Component("readout", 0.4e-3, "ohm", "rectangular"),
    Component("uniformity", 3, "mK", "rectangular", correlation="random"),
    Component("stem conduction", 3, "mK", "rectangular", shape="ambient_excess"),
)
_IPRT = (100.012, 3.9079e-3, -5.78e-7, -4.2e-12)
_TEMPERATURES = np.array([-40.0, -20.0, 0.01, 30.0, 60.0, 90.0, 120.0, 160.0])


def bath_points(seed: int = 1, offset_mk: dict[int, float] | None = None) -> list[PointResult]:
    """Eight points of an industrial thermometer with 1 mK of scatter in the mean."""
    ohms = CallendarVanDusen(None).at(_TEMPERATURES).resistance_ohm(np.array(_IPRT))
    ohms = ohms + np.random.default_rng(seed).normal(size=ohms.size) * 4e-4
    for index, mk in (offset_mk or {}).items():
        ohms[index] += 0.39e-3 * mk
    rows = zip(_TEMPERATURES, ohms, strict=True)
    return [PointResult(f"{t:g} °C", float(t), float(r), 4e-4, 40) for t, r in rows]


@pytest.fixture(scope="module")
def bath() -> Characteristic:
    """One calibration in a bath, fitted by Callendar-Van Dusen."""
    return fit_characteristic(bath_points(), "callendar_van_dusen", BATH, reason="small misfit")


def test_a_sound_calibration_passes_its_own_tests(bath):
    assert bath.degrees_of_freedom == 4
    assert bath.fit.findings.fine, bath.fit.findings.sentences
    truth = CallendarVanDusen(None).at(_TEMPERATURES).resistance_ohm(np.array(_IPRT))
    assert (np.abs(bath.temperature_c(np.clip(truth, *bath.range_ohm)) - _TEMPERATURES) < 0.01).all()


def test_a_result_holds_only_between_its_end_points(bath):
    for beyond in (-40.1, 160.1, float("nan")):
        with pytest.raises(OutsideRange, match=r"-40\.0000 °C to 160\.0000 °C"):
            bath.resistance_ohm(beyond)
    low, high = bath.range_ohm
    for ohms in (low - 0.01, high + 0.01, float("nan")):
        with pytest.raises(OutsideRange, match="°C"):
            bath.temperature_c(float(ohms))
        with pytest.raises(OutsideRange, match="°C"):
            bath.temperature_c([100.0, ohms])


def test_the_plans_round_range_may_stand_for_the_realised_points():
    points = [replace(p, temperature_c=p.temperature_c + 0.02) for p in bath_points()]
    assert fit_characteristic(points, "callendar_van_dusen", BATH, range_c=(-40, 160)).range_c == (
        -40.0,
        160.0,
    )
    with pytest.raises(NotSolvable, match="calibrated range"):
        fit_characteristic(points, "callendar_van_dusen", BATH, range_c=(-60, 160))


def test_a_range_past_the_silver_point_is_refused_even_when_a_point_is_near():
    form = its90_form(None, "3.3.2")
    t = np.linspace(0, 961.5, 9)
    ohms = form.at(t).resistance_ohm(np.array([0.25, -1.2e-4, 0, 0, 0]))
    points = [PointResult(f"{x:g}", float(x), float(r), 1e-7) for x, r in zip(t, ohms, strict=True)]
    with pytest.raises(NotSolvable, match="scale of platinum"):
        fit_characteristic(points, form, range_c=(0, 962.2))


def test_the_uncertainty_is_a_sum_of_its_sources_and_widest_at_an_end(bath):
    t = np.linspace(-40, 160, 21)
    names, parts = bath.contributions_k(t)
    assert names[0] == "repeatability" and set(names[1:]) == {c.name for c in BATH}
    assert np.allclose(np.sqrt((parts**2).sum(axis=1)), bath.standard_uncertainty_k(t))
    assert np.argmax(bath.standard_uncertainty_k(t)) in (0, 20)


def test_a_common_error_of_the_reference_is_not_averaged_by_the_number_of_points(bath):
    names, parts = bath.contributions_k(np.linspace(-40, 160, 9))
    reference = parts[:, names.index("reference calibration")]
    assert np.allclose(reference, 2e-3, rtol=0.02)


def test_k_follows_from_the_degrees_of_freedom():
    few = [replace(p, random_degrees_of_freedom=3, random_ohm=4e-3) for p in bath_points()]
    at = fit_characteristic(few, "callendar_van_dusen", BATH).uncertainty_at([-40.0, 60.0, 160.0])
    assert (at.effective_degrees_of_freedom < 5).all()
    assert (at.coverage_factor > 2.6).all()
    assert np.allclose(at.expanded_k, at.coverage_factor * at.standard_k)


def test_a_misbehaving_point_is_flagged_but_never_removed():
    points = bath_points(offset_mk={3: 25.0})
    suspicious = fit_characteristic(points, "callendar_van_dusen", BATH)
    assert not suspicious.fit.findings.fine and 3 in suspicious.fit.findings.suspects
    assert len(suspicious.residuals_mk) == len(points)


def test_excluding_a_point_needs_a_cause_and_keeps_both_fits():
    points = bath_points(offset_mk={3: 25.0})
    with pytest.raises(FittingError, match="cause"):
        replace(points[3], excluded_because="  ")
    points[3] = replace(points[3], excluded_because="stirrer found stopped at 02:14, A. Duty")
    without = fit_characteristic(points, "callendar_van_dusen", BATH)
    assert len(without.residuals_mk) == 7 and len(without.fit.points) == 8
    assert without.fit.findings.fine
    assert len(without.with_excluded.residuals_mk) == 8
    assert without.with_excluded.chi_squared > without.chi_squared + 10


def test_exclusion_never_goes_below_one_degree_of_freedom():
    points = bath_points()[:5]
    points[2] = replace(points[2], excluded_because="lead pulled")
    with pytest.raises(NotSolvable, match="no degree of freedom"):
        fit_characteristic(points, CallendarVanDusen(None), BATH)


def test_an_exact_solution_is_given_on_request_only_and_says_it_is_untested():
    points = bath_points()[:4]
    with pytest.raises(NotSolvable, match="exact"):
        fit_characteristic(points, CallendarVanDusen(None), BATH)
    exact = fit_characteristic(points, CallendarVanDusen(None), BATH, exact=True)
    assert cautions.NO_TEST in exact.cautions
    assert max(map(abs, exact.residuals_mk)) < 1e-6


def test_too_few_points_are_counted_out_in_the_refusal():
    with pytest.raises(NotSolvable, match=r"R0, A, B\).*there are 2"):
        fit_characteristic(bath_points()[5:7], "callendar_van_dusen", BATH)


def test_points_without_any_random_part_are_refused():
    points = [replace(p, random_ohm=0.0) for p in bath_points()]
    with pytest.raises(NotSolvable, match=r"uncertainty|random part"):
        fit_characteristic(points, "callendar_van_dusen", ())
    with pytest.raises(NotSolvable, match="random part"):
        fit_characteristic(points, "callendar_van_dusen", [Component("reference", 4)])
    with pytest.raises(NotSolvable, match="random part"):
        fit_characteristic(points, "callendar_van_dusen", [c for c in BATH if c.correlation == "common"])


def test_points_all_at_one_temperature_do_not_make_a_curve():
    points = [PointResult(f"{i}", 50.0 + 1e-7 * i, 119.4, 1e-4) for i in range(8)]
    with pytest.raises(NotSolvable, match="spread them"):
        fit_characteristic(points, "callendar_van_dusen", BATH)


def test_the_triple_point_of_water_is_free_of_the_reference_thermometer():
    """Its own cell, no reference: the reference's common error does not act there, so it pins R(TPW)."""
    points = [p for p in bath_points() if p.temperature_c > 0.1]
    cell = triple_point_result(100.0159, 2e-5, "after")
    assert "after" in cell.label
    pinned = fit_characteristic([cell, *points], "its90", BATH)
    free = fit_characteristic([replace(cell, independent=False), *points], "its90", BATH)
    assert float(pinned.standard_uncertainty_k(0.01)) < 1e-4 < float(free.standard_uncertainty_k(0.01))


def test_a_gradient_of_one_medium_is_one_unknown_over_its_points_only():
    gradient = Component("gradient of the oil bath", 5, "mK", "rectangular")
    points = [replace(p, components=(gradient,) if p.temperature_c > 50 else ()) for p in bath_points()]
    names, parts = fit_characteristic(points, "callendar_van_dusen", BATH).contributions_k([-40.0, 120.0])
    assert names.count("gradient of the oil bath") == 1
    cold, hot = parts[:, names.index("gradient of the oil bath")]
    assert hot > 3 * cold


def test_terms_between_the_points_are_added_everywhere(bath):
    extra = Component("hysteresis", 6, "mK", "rectangular")
    wider = fit_characteristic(bath_points(), "callendar_van_dusen", BATH, between_points=[extra])
    t = np.linspace(-40, 160, 7)
    added = wider.standard_uncertainty_k(t) ** 2 - bath.standard_uncertainty_k(t) ** 2
    assert np.allclose(added, (6e-3) ** 2 / 3)


def test_every_result_warns_of_what_no_test_can_see(bath):
    assert cautions.STEM_LOSS in bath.cautions and "chi-squared" in cautions.STEM_LOSS


@pytest.mark.parametrize("equation", ["its90", "callendar_van_dusen", "polynomial"])
def test_printing_costs_at_most_a_tenth_of_a_millikelvin(equation):
    fitted = fit_characteristic(bath_points(), equation, BATH)
    assert rounding_cost_mk(fitted) <= ROUNDING_COST_MK
    names = [c.name for c in printed_coefficients(fitted)]
    assert names == list(fitted.equation.parameters)
    for pair in check_pairs(fitted):
        by_hand = fitted.equation.temperature_c(np.array([pair.resistance_ohm]), as_printed(fitted))
        assert f"{by_hand[0]:.4f}" == f"{pair.temperature_c:.4f}"
        assert float(fitted.temperature_c(pair.resistance_ohm)) == pytest.approx(
            pair.temperature_c, abs=1.6e-4
        )


@pytest.mark.parametrize("equation", ["its90", "callendar_van_dusen", "polynomial"])
def test_a_characteristic_survives_a_file_to_the_last_bit(equation):
    points = bath_points(offset_mk={3: 25.0})
    points[3] = replace(points[3], excluded_because="lid open", components=(Component("lid", 5),))
    fitted = fit_characteristic(points, equation, BATH, between_points=[Component("hysteresis", 2)])
    text = json.dumps(to_dict(fitted), allow_nan=False)
    again = from_dict(json.loads(text))
    assert json.dumps(to_dict(again)) == text
    t = np.linspace(-40, 160, 9)
    assert np.array_equal(again.expanded_uncertainty_k(t), fitted.expanded_uncertainty_k(t))
    assert np.array_equal(
        again.temperature_c(fitted.resistance_ohm(t)), fitted.temperature_c(fitted.resistance_ohm(t))
    )


def test_a_file_that_is_no_characteristic_is_refused_in_words():
    with pytest.raises(FittingError, match="not a characteristic"):
        from_dict({"equation": {"kind": "its90"}})
    with pytest.raises(FittingError, match="no equation"):
        from_dict(
            {**to_dict(fit_characteristic(bath_points(), "polynomial", BATH)), "equation": {"kind": "spline"}}
        )


def test_monte_carlo_through_the_whole_fit_agrees_with_the_propagation(bath):
    t = np.array([-40.0, -5.0, 50.0, 110.0, 160.0])
    infinite = [replace(p, random_degrees_of_freedom=np.inf) for p in bath_points()]
    fitted = fit_characteristic(infinite, "callendar_van_dusen", BATH)
    trials = monte_carlo(infinite, fitted.equation, BATH, t, trials=200_000, seed=5)
    assert np.abs(trials.standard_k / fitted.standard_uncertainty_k(t) - 1).max() < 0.008
    half = (trials.interval_k[:, 1] - trials.interval_k[:, 0]) / 2
    assert np.abs(half / fitted.expanded_uncertainty_k(t) - 1).max() < 0.012
    assert np.abs(trials.mean_shift_k).max() < 4 * fitted.standard_uncertainty_k(t).max() / 200_000**0.5


@pytest.mark.parametrize("equation", ["its90", "polynomial"])
def test_monte_carlo_knows_the_other_forms_and_distributions_too(equation):
    terms = [
        Component("triangle", 5, "mK", "triangular"),
        Component("arcsine", 4, "mK", "arcsine", correlation="random"),
        Component("reference", 4, divisor=2),
    ]
    points = [replace(p, random_degrees_of_freedom=np.inf) for p in bath_points()]
    fitted = fit_characteristic(points, equation, terms)
    t = np.linspace(-39, 159, 5)
    trials = monte_carlo(points, fitted.equation, terms, t, trials=100_000, seed=2)
    assert np.abs(trials.standard_k / fitted.standard_uncertainty_k(t) - 1).max() < 0.012
    half = (trials.interval_k[:, 1] - trials.interval_k[:, 0]) / 2
    assert np.abs(half / fitted.expanded_uncertainty_k(t) - 1).max() < 0.02


def test_few_degrees_of_freedom_widen_the_monte_carlo_as_student_says():
    points = [replace(p, random_ohm=4e-3, random_degrees_of_freedom=5) for p in bath_points()]
    fitted = fit_characteristic(points, "callendar_van_dusen", ())
    trials = monte_carlo(points, fitted.equation, (), [60.0], trials=200_000, seed=4)
    half = (trials.interval_k[:, 1] - trials.interval_k[:, 0]) / 2
    assert half == pytest.approx(fitted.expanded_uncertainty_k([60.0]), rel=0.02)


def test_the_table_stops_at_the_end_points_and_its_text_carries_the_units(bath):
    rows = table_rows(bath, 10)
    assert [rows[0].temperature_c, rows[-1].temperature_c, len(rows)] == [-40.0, 160.0, 21]
    assert "U / mK" in as_text(rows) and as_csv(rows).startswith("temperature_c,resistance_ohm")
    again = [line.split(",") for line in as_csv(rows).splitlines()[1:]]
    for row, cells in zip(rows, again, strict=True):
        assert abs(float(cells[1]) - row.resistance_ohm) < 1e-4 * row.sensitivity_ohm_per_k
    with pytest.raises(OutsideRange):
        table_rows(bath, 10, stop_c=200)
    with pytest.raises(FittingError, match="step"):
        table_rows(bath, 0)


@pytest.mark.parametrize(
    ("value", "text"), [(12.34, "12"), (0.0456, "0.046"), (0.0996, "0.10"), (0, "0"), (160, "160")]
)
def test_uncertainties_are_printed_with_two_digits(value, text):
    assert two_digits(value) == text


def test_the_equation_is_advised_with_its_reason():
    assert choose_equation("SPRT", (0, 420), 2).equation == "its90"
    bath = choose_equation("IPRT", (-40, 160), 20)
    assert bath.equation == "callendar_van_dusen" and "2.8 mK" in bath.reason
    wide = choose_equation("IPRT", (-40, 420), 20)
    assert wide.equation == "its90" and "not an ITS-90 interpolating" in wide.cautions[0]
    assert choose_equation("IPRT", (-40, 420), 20, "film").equation == "polynomial"
    with pytest.raises(FittingError, match="inside"):
        choose_equation("IPRT", (0, 1200), 20)


def test_class_a_is_judged_over_the_range_tested_and_by_the_rule_agreed(bath):
    wire = tolerance_class("IEC 60751 A", "wire")
    good = judge_class(bath, wire, 100.0, Rule.GUARD_BAND)
    assert good.verdict is Verdict.PASS and good.tested_range_c == (-40.0, 160.0)
    film = judge_class(bath, tolerance_class("IEC 60751 A", "film"), 100.0, Rule.GUARD_BAND)
    assert film.tested_range_c[0] == -30.0 and "-30.0 °C to 160.0 °C" in film.sentences[1]
    assert judge_class(bath, wire, 100.5, Rule.SIMPLE).verdict is Verdict.FAIL


def test_a_thermometer_that_moved_beyond_both_uncertainties_is_held_for_a_look(bath):
    same = compare(bath, fit_characteristic(bath_points(seed=2), "callendar_van_dusen", BATH))
    assert same.agrees and abs(same.r0_drift_mk) < 5
    moved = [replace(p, resistance_ohm=p.resistance_ohm * 1.0001) for p in bath_points()]
    drifted = compare(fit_characteristic(moved, "callendar_van_dusen", BATH), bath)
    assert not drifted.agrees and drifted.r0_drift_mk == pytest.approx(25.6, abs=0.2)
    assert [c.name for c in drifted.coefficients] == ["R0", "A", "B", "C"]
    assert drifted.coefficients[0].en == pytest.approx(
        drifted.en[np.argmin(np.abs(drifted.temperature_c))], rel=0.1
    )
    assert en_number(10.0, 3.0, 5.0, 4.0) == 1.0


def test_a_reference_thermometers_certificate_converts_like_a_fit_and_carries_its_uncertainty():
    reference = from_its90_certificate(
        25.52341,
        {"3.3.1.3": {"a": -2.29e-4, "b": 1.3e-5}, "3.3.2.3": {"a": -2.4e-4, "b": -1.7e-5}},
        (-189.3442, 231.928),
        [(-189.3442, 3.0), (0.01, 1.0), (231.928, 4.0)],
        2.0,
    )
    assert reference.temperature_c(25.52341) == pytest.approx(0.01, abs=3e-6)
    assert float(reference.standard_uncertainty_k(0.01)) == pytest.approx(0.5e-3)
    assert float(reference.standard_uncertainty_k(231.928)) == pytest.approx(2e-3)
    ratios = ratios_for_acceptance(reference)
    assert ratios["w_gallium"] > 1.118 and "w_silver" not in ratios


@pytest.mark.parametrize(
    ("coefficients", "range_c", "complaint"),
    [
        ({"3.3.9": {"a": 1.0}}, (0, 100), "no ITS-90 sub-range"),
        ({}, (0, 100), "no ITS-90 sub-range"),
        ({"3.3.2.4": {"b": 1.0}}, (0, 100), "coefficients a wanted"),
        ({"3.3.2.4": {"a": float("nan")}}, (0, 100), "finite"),
        ({"3.3.2.4": {"a": -2e-4}}, (0, 200), "not covered"),
        ({"3.3.2.4": {"a": -2e-4}}, (0, 156.7), "not covered"),
        ({"3.3.2.4": {"a": -2e-4}, "3.3.2.5": {"a": -2e-4}}, (0, 20), "at most one"),
        ({"3.3.2.4": {"a": 3.0}}, (0, 100), "does not rise"),
    ],
)
def test_a_certificate_typed_in_wrongly_is_refused(coefficients, range_c, complaint):
    with pytest.raises(FittingError, match=complaint):
        from_its90_certificate(25.5, coefficients, range_c, 1.0, 2.0)


def test_misfit_of_the_equation_becomes_its_own_line():
    line = misfit_component(-40, 160)
    assert line.name == "misfit of the equation" and 2.5 < line.size < 3.1
    assert misfit_component(-0.1, 100).size == pytest.approx(misfit_component(0, 100).size, rel=0.05)


def test_the_polynomial_of_higher_order_follows_a_bent_thermometer():
    t = np.linspace(-40, 160, 10)
    truth = DeviationPolynomial(3).at(t).resistance_ohm(np.array([0.02, -0.01, 0.005, 0.004]))
    points = [PointResult(f"{x:g}", float(x), float(r), 1e-5) for x, r in zip(t, truth, strict=True)]
    fitted = fit_characteristic(points, DeviationPolynomial(3))
    assert fitted.theta == pytest.approx((0.02, -0.01, 0.005, 0.004), abs=1e-8)


def test_a_thermometer_calibrated_to_silver_is_fitted_with_all_four_coefficients():
    form = its90_form(None, "3.3.2")
    t = np.array([0.01, 100, 231.9, 300, 419.5, 550, 660.3, 750, 850, 961.78])
    theta = (0.25, -1.2e-4, -9.4e-6, 1.7e-6, -5.4e-6)
    ohms = form.at(t).resistance_ohm(np.array(theta))
    points = [PointResult(f"{x:g}", float(x), float(r), 1e-8) for x, r in zip(t, ohms, strict=True)]
    assert fit_characteristic(points, "its90").theta == pytest.approx(theta, rel=1e-4)
