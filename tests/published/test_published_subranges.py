"""Sub-ranges, deviation functions, fixed points: Table 5 of the ITS-90 and invented thermometers."""

from __future__ import annotations

import numpy as np
import pytest

from daemon.fitting import its90
from daemon.fitting.acceptance import judge_acceptance
from daemon.fitting.certificate_entry import from_its90_certificate
from daemon.fitting.equation_its90 import its90_form, its90_form_for
from daemon.fitting.errors import NotSolvable, OutsideRange
from daemon.fitting.fixed_points import FIXED_POINTS
from daemon.fitting.its90_subranges import BY_SECTION, SUBRANGES, Term, solve_fixed_points

_SPRTS = ("S1", "S2", "S3", "S4", "S5", "S6")


def test_the_table_of_sub_ranges_is_the_published_one(published):
    table = published("its90_subranges.toml")["subrange"]
    assert sorted(table) == sorted(BY_SECTION)
    for section, row in table.items():
        ours = BY_SECTION[section]
        assert (ours.number, list(ours.coefficients)) == (row["number"], row["coefficients"])
        assert (ours.lower_k, ours.upper_k) == (float(row["lower_K"]), float(row["upper_K"]))
        assert list(ours.points) == row["points"]


@pytest.mark.parametrize("section", [s.section for s in SUBRANGES])
def test_each_deviation_function_is_the_published_expression(published, section):
    """The expression of the data file is evaluated as it stands, one coefficient after another set to 1."""
    ours = BY_SECTION[section]
    text = published("its90_subranges.toml")["subrange"][section]["deviation"]
    for index, name in enumerate(ours.coefficients):
        for w in (0.3, 0.85, 1.1, 2.5, 3.9):
            if ours.below_zero and w > 1:
                continue
            expected = _evaluate(text, {n: float(n == name) for n in ours.coefficients}, w)
            assert ours.basis_and_slope(np.array([w]))[0][0, index] == pytest.approx(
                expected, rel=1e-12, abs=1e-15
            )


def _evaluate(text: str, coefficients: dict[str, float], w: float) -> float:
    total, log = 0.0, np.log(w)
    for part in text.split(" + "):
        if part.startswith("sum_"):
            first_power = {"i": 1, "(i+2)": 3}[part.split("^")[-1]]
            names = [n for n in coefficients if n.startswith("c")]
            total += sum(coefficients[n] * log ** (i + first_power) for i, n in enumerate(names))
            continue
        name, *factors = part.split("*")
        value = coefficients[name]
        for factor in factors:
            if "W(Al)" in factor:
                value *= max(w - 3.37600860, 0.0) ** 2
            else:
                base, _, power = factor.partition("^")
                number = log if base in ("ln W", "(ln W)") else w - 1
                value *= number ** int(power or 1)
        total += value
    return total


@pytest.mark.parametrize("name", _SPRTS)
def test_fixed_points_give_the_coefficients_of_the_invented_thermometer(published, name):
    sprt = _sprt(published, name)
    ratios = {point["point"]: float(point["W"]) for point in sprt["points"]}
    found = solve_fixed_points(sprt["subrange"], ratios)
    for coefficient, value in found.items():
        assert value == pytest.approx(float(sprt[coefficient]), abs=2e-12)


@pytest.mark.parametrize("name", _SPRTS)
def test_the_invented_thermometer_is_followed_both_ways(published, name):
    sprt = _sprt(published, name)
    section, subrange = sprt["subrange"], BY_SECTION[sprt["subrange"]]
    aluminium = next((float(p["W"]) for p in sprt["points"] if p["point"] == "Al"), None)
    thermometer = from_its90_certificate(
        float(sprt["R_tpw_ohm"]),
        {section: {name: float(sprt[name]) for name in subrange.coefficients}},
        (subrange.lower_c, subrange.upper_c),
        1.0,
        2.0,
        w_aluminium=aluminium if section == "3.3.2" else None,
    )
    t = np.array([float(check["t90_C"]) for check in sprt["check"]])
    w = np.array([float(check["W"]) for check in sprt["check"]])
    ohms = w * float(sprt["R_tpw_ohm"])
    assert np.abs(thermometer.resistance_ohm(t) / thermometer.theta[0] - w).max() < 2e-12
    assert np.abs(thermometer.temperature_c(ohms) - t).max() < 1e-9
    assert max(abs(thermometer.temperature_c(float(r)) - x) for r, x in zip(ohms, t, strict=True)) < 1e-9
    printed = np.array([float(check["R_ohm"]) for check in sprt["check"]])
    digits = 10.0 ** -min(len(check["R_ohm"].split(".")[1]) for check in sprt["check"])
    assert np.abs(thermometer.resistance_ohm(t) - printed).max() < digits


def _sprt(published, name):
    return next(s for s in published("its90_constructed_sprts.toml")["sprt"] if s["name"] == name)


@pytest.mark.parametrize("section", ["3.3.1", "3.3.1.1", "3.3.1.2", "3.3.1.3"])
def test_deep_sub_ranges_are_solved_from_their_points_too(section):
    """Coefficients chosen, W at the points found by iteration, coefficients recovered."""
    subrange = BY_SECTION[section]
    chosen = np.array([-2.3e-4, 1.1e-5, 1e-7, 3e-8, 5e-9, 5e-10, 2e-11][: len(subrange.terms)])
    hydrogen = {"17K": 17.035 - 273.15, "20.3K": 20.27 - 273.15}
    ratios = {}
    for point in subrange.points:
        if point == "H2O":
            continue
        t = hydrogen[point] if point in hydrogen else FIXED_POINTS[point].t90_c
        w = its90.reference_ratio([t])
        for _ in range(60):
            w = its90.reference_ratio([t]) + subrange.deviation(w, chosen)
        ratios[point] = float(w[0])
    found = solve_fixed_points(section, ratios, {p: hydrogen[p] for p in hydrogen if p in ratios})
    for value, expected in zip(found.values(), chosen, strict=True):
        assert value == pytest.approx(expected, rel=1e-3, abs=1e-12)


def test_a_missing_fixed_point_is_named():
    with pytest.raises(NotSolvable, match="Sn, Zn"):
        solve_fixed_points("3.3.2.2", {"Sn": 1.89})


def test_hydrogen_points_need_their_actual_temperature():
    points = {p: 0.5 for p in BY_SECTION["3.3.1"].points if p != "H2O"}
    with pytest.raises(NotSolvable, match="17K"):
        solve_fixed_points("3.3.1", points)


@pytest.mark.parametrize(
    ("span", "sections"),
    [
        ((0, 29), (None, "3.3.2.5")),
        ((0, 100), (None, "3.3.2.4")),
        ((0, 231.9), (None, "3.3.2.3")),
        ((0, 400), (None, "3.3.2.2")),
        ((0.2, 660), (None, "3.3.2.1")),
        ((0, 961), (None, "3.3.2")),
        ((-38.8, 29.7), ("3.3.3", "3.3.3")),
        ((-40, 29), ("3.3.1.3", "3.3.2.5")),
        ((-189, 0.01), ("3.3.1.3", None)),
        ((-200, 0), ("3.3.1.2", None)),
        ((-245, 0.01), ("3.3.1.1", None)),
        ((-259, 232), ("3.3.1", "3.3.2.2")),
        ((-0.004, 100), (None, "3.3.2.4")),
    ],
)
def test_the_narrowest_form_that_covers_a_span_is_chosen(span, sections):
    assert its90_form_for(*span) == its90_form(*sections)


def test_a_span_beyond_silver_has_no_form():
    with pytest.raises(NotSolvable, match=r"961\.78"):
        its90_form_for(0, 1000)


def test_an_error_at_the_triple_point_of_water_spreads_as_computed(published):
    spread = published("tpw_propagation.toml")
    at_water = float(its90.LOW.slope_per_k(np.array([0.01]))[0])
    for symbol in ("Hg", "Ga", "Sn"):
        t = FIXED_POINTS[symbol].t90_c
        factor = float(its90.reference_ratio(t)) * at_water / float(its90.reference_slope_per_k(t))
        assert factor == pytest.approx(float(spread[f"{symbol}_mK_per_mK"]), rel=1e-6)


def test_fixed_point_temperatures_and_effects_are_the_published_ones(published):
    for row in published("its90_fixed_points.csv"):
        point = FIXED_POINTS[row["substance"]]
        assert (point.state, point.t90_k, point.t90_c) == (
            row["state"],
            float(row["T90_K"]),
            float(row["t90_C"]),
        )
        assert point.pressure_effect_k_per_pa == pytest.approx(1e-8 * float(row["dTdp_1e-8_K_per_Pa"]))
        assert point.depth_effect_k_per_m == pytest.approx(1e-3 * float(row["dTdl_mK_per_m"]))


def test_depth_and_pressure_shift_the_fixed_points_as_computed(published):
    for row in published("self_heating_hydrostatic.toml")["fixed_point"]:
        point = FIXED_POINTS[row["point"]]
        pressure = float(row.get("pressure_Pa", "101325"))
        correction_mk = 1e3 * point.correction_k(float(row["depth_m"]), pressure)
        assert correction_mk == pytest.approx(float(row["correction_mK"]), abs=5.1e-5)
        sensor_k = point.at_sensor_c(float(row["depth_m"]), pressure) + 273.15
        assert sensor_k == pytest.approx(float(row["T90_at_sensor_K"]), abs=6e-8)


def test_a_pressure_or_depth_that_cannot_be_is_refused():
    with pytest.raises(OutsideRange, match="depth"):
        FIXED_POINTS["Zn"].correction_k(-0.1)
    with pytest.raises(OutsideRange, match="pressure"):
        FIXED_POINTS["Zn"].correction_k(0.1, 1013.25)


def test_hydrostatic_head_becomes_a_budget_line():
    line = FIXED_POINTS["H2O"].depth_component(0.01)
    assert line.standard == pytest.approx(0.73e-3 * 0.01 * 1e3 / 3**0.5)


def test_acceptance_limits_are_the_published_ones_and_told_in_words(published):
    limits = published("its90_reference_functions.toml")["acceptance"]
    gallium, mercury, silver = (float(limits[key]) for key in ("w_ga_min", "w_hg_max", "w_ag_min"))
    assert judge_acceptance(w_gallium=gallium).accepted is True
    assert judge_acceptance(w_gallium=gallium - 1e-6).accepted is False
    assert judge_acceptance(w_mercury=mercury).accepted is True
    assert judge_acceptance(w_mercury=mercury + 1e-6).accepted is False
    assert judge_acceptance(w_gallium=gallium - 1e-6, w_mercury=mercury).accepted is True
    assert judge_acceptance().accepted is None
    assert judge_acceptance(w_gallium=gallium, w_silver=silver, used_to_silver=True).accepted is True
    low_silver = judge_acceptance(w_gallium=gallium, w_silver=silver - 1e-4, used_to_silver=True)
    assert low_silver.accepted is False and "W(961.78 °C)" in " ".join(low_silver.sentences)
    industrial = judge_acceptance(w_gallium=1.1158775)
    assert "not an ITS-90 interpolating thermometer" in industrial.sentences[0]


def test_the_published_table_of_a_real_thermometer_is_reproduced(published):
    """501 printed values, of which the even degrees are kept: half a unit of the last digit."""
    data = published("open_prt_table.toml")
    low, high = (tuple(float(data[side][name]) for name in ("a", "b")) for side in ("low", "high"))
    form = its90_form("3.3.1.3", "3.3.2.3")
    theta = np.array([float(data["thermometer"]["R_tpw_ohm"]), *low, *high])
    rows = published("open_prt_table.csv")
    t = np.array([float(row["t90_C"]) for row in rows])
    found = form.at(t).resistance_ohm(theta)
    half_digit = np.array([0.5 * 10.0 ** -len(row["R_ohm"].split(".")[1]) for row in rows])
    printed = np.array([float(row["R_ohm"]) for row in rows])
    assert (np.abs(found - printed) <= half_digit * 1.0001).all()
    step = form.at(t[:-1] + 1).resistance_ohm(theta) - found[:-1]
    assert np.abs(step - np.array([float(row["step_ohm"]) for row in rows[:-1]])).max() < 1e-4


def test_every_term_has_the_derivative_its_value_implies():
    w = np.linspace(0.2, 0.99, 50)
    for power, log_power in ((1, 0), (3, 0), (1, 1), (0, 2), (0, 5)):
        term = Term("a", power, log_power)
        numeric = (term.value(w + 1e-6) - term.value(w - 1e-6)) / 2e-6
        assert np.allclose(term.slope(w), numeric, rtol=1e-6, atol=1e-8)
        assert [term.of_one(float(x)) for x in w] == pytest.approx(term.value(w).tolist(), rel=1e-13)
