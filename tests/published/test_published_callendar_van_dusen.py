"""Callendar-Van Dusen and the tolerance classes against IEC 60751, and against two published thermometers."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal

import numpy as np
import pytest

from daemon.fitting import callendar_van_dusen as cvd
from daemon.fitting.certificate_entry import check_against_table, from_callendar_van_dusen_certificate
from daemon.fitting.choice import misfit_mk
from daemon.fitting.classes import (
    class_names,
    nominal_resistance_ohm,
    nominal_temperature_c,
    tolerance_class,
)
from daemon.fitting.equation_callendar_van_dusen import CallendarVanDusen
from daemon.fitting.equation_its90 import its90_form
from daemon.fitting.errors import FittingError, OutsideRange
from daemon.fitting.least_squares import solve


def test_the_nominal_coefficients_are_those_of_the_standard(published):
    nominal = published("iec60751.toml")["characteristic"]
    assert [float(nominal[key]) for key in "ABC"] == [cvd.IEC_A, cvd.IEC_B, cvd.IEC_C]
    assert float(nominal["alpha_per_K"]) == pytest.approx(cvd.IEC_A + 100 * cvd.IEC_B, abs=1e-15)
    alpha = cvd.IEC_A + 100 * cvd.IEC_B
    assert float(nominal["delta_C"]) == pytest.approx(-1e4 * cvd.IEC_B / alpha, abs=1e-6)
    assert float(nominal["beta"]) == pytest.approx(-1e8 * cvd.IEC_C / alpha, abs=1e-7)
    at_water = float(nominal_resistance_ohm(0.01, float(nominal["R0_nominal_ohm"])))
    assert at_water == pytest.approx(float(nominal["R_at_0_01_C_ohm"]), abs=1e-12)


def test_the_superseded_edition_is_recognised_by_its_value_at_100_degrees(published):
    old = published("iec60751.toml")["characteristic_1983"]
    at_100 = 100 * float(cvd.ratio(np.array([100.0]), float(old["A"]), float(old["B"]), float(old["C"]))[0])
    assert f"{at_100:.2f}" == old["R_100_ohm"]
    assert f"{float(nominal_resistance_ohm(100.0, 100.0)):.2f}" == "138.51"


def test_the_published_table_is_met_to_the_last_digit(published):
    rows = published("iec60751_table.csv")
    found = nominal_resistance_ohm([float(row["t90_C"]) for row in rows], 100.0)
    for ohms, row in zip(found, rows, strict=True):
        assert abs(ohms - float(row["r_exact_ohm"])) < 5.1e-8
        exact = Decimal(row["r_exact_ohm"])
        assert exact.quantize(Decimal("0.01"), ROUND_HALF_EVEN) == Decimal(row["r_ohm"])
        assert f"{ohms:.2f}" == row["r_ohm"]


def test_the_inverse_meets_the_computed_roots(published):
    rows = published("iec60751_inverse_computed.csv")
    ohms = np.array([float(row["r_ohm"]) for row in rows])
    root = np.array([float(row["t90_C"]) for row in rows])
    assert np.abs(nominal_temperature_c(ohms, 100.0) - root).max() < 6e-10
    one = [cvd.temperature_of_one_c(r / 100, cvd.IEC_A, cvd.IEC_B, cvd.IEC_C) for r in ohms]
    assert np.abs(np.array(one) - root).max() < 6e-10


def test_a_real_thermometer_with_a_positive_c_is_followed_both_ways(published):
    data = published("cvd_real_thermometer.toml")
    given = data["thermometer"]
    a, b, c = (float(given[key]) for key in "ABC")
    r0 = float(given["R0_ohm"])
    assert c > 0
    for t, printed in data["forward"].items():
        assert r0 * float(cvd.ratio(np.array([float(t)]), a, b, c)[0]) == pytest.approx(
            float(printed), abs=6e-9
        )
    for ohms, printed in data["inverse"].items():
        found = float(cvd.temperature_c(np.array([float(ohms) / r0]), a, b, c)[0])
        assert found == pytest.approx(float(printed), abs=6e-9)


def test_its_certificate_is_accepted_and_holds_only_in_its_range(published):
    data = published("cvd_real_thermometer.toml")
    given = data["thermometer"]
    coefficients = {"R0": float(given["R0_ohm"]), **{key: float(given[key]) for key in "ABC"}}
    low, high = map(float, given["range_C"])
    reference = from_callendar_van_dusen_certificate(coefficients, (low, high), 5.0, 2.0)
    assert [f"{ohms:.3f}" for ohms in reference.range_ohm] == given["range_ohm"]
    with pytest.raises(OutsideRange, match=r"-10\.0000 °C to 70\.0000 °C"):
        reference.temperature_c(96.0)
    rows = [(float(t), float(r)) for t, r in data["forward"].items()]
    assert check_against_table(reference, rows, within_mk=0.1) == ()
    mistyped = from_callendar_van_dusen_certificate({**coefficients, "A": 3.931e-3}, (low, high), 5.0, 2.0)
    assert len(check_against_table(mistyped, rows, within_mk=0.1)) == len(rows)


def test_the_misfit_of_the_equation_is_the_one_found_on_a_real_thermometer(published):
    """The misfit to the ITS-90 reference function stands for it: it hardly depends on the platinum."""
    for span in published("cvd_misfit.toml")["span"]:
        found = misfit_mk(span["lower_c"], span["upper_c"])
        assert found == pytest.approx(float(span["misfit_mk"]), rel=0.05)


def test_the_real_thermometers_own_misfit_is_the_one_found(published):
    """All rows by 1 °C of the real thermometer's table, which is checked beside the sub-ranges."""
    data = published("open_prt_table.toml")
    curve = its90_form("3.3.1.3", "3.3.2.3")
    theta = [
        data["thermometer"]["R_tpw_ohm"],
        *(data[side][name] for side in ("low", "high") for name in ("a", "b")),
    ]
    for span in published("cvd_misfit.toml")["span"]:
        t = np.arange(span["lower_c"], span["upper_c"] + 1.0)
        ohms = curve.at(t).resistance_ohm(np.array([float(x) for x in theta]))
        grid = CallendarVanDusen(None if span["lower_c"] < 0 else 0.0).at(t)
        fitted = grid.start(ohms)
        for _ in range(3):
            now = grid.linearise(ohms, fitted)
            in_ohm = np.diag(now.sensitivity_ohm_per_k)
            fitted = fitted + solve(now.gradient_k, now.residual_k, in_ohm).estimate
        worst = 1e3 * np.abs(grid.linearise(ohms, fitted).residual_k).max()
        assert worst == pytest.approx(float(span["misfit_mk"]), rel=0.025, abs=0.05)


def test_the_class_table_is_the_published_one(published):
    data = published("iec60751.toml")
    for name, row in data["thermometer_class"].items():
        for construction in ("wire", "film"):
            ours = tolerance_class(f"IEC 60751 {name}", construction)
            assert (ours.fixed_k, ours.slope) == (float(row["fixed"]), float(row["slope"]))
            assert list(ours.range_c) == row[construction]
    for letter in ("A", "B"):
        ours = tolerance_class(f"ASTM E1137 {letter}", "wire")
        row = data["astm_e1137"][f"grade_{letter}"]
        assert (ours.fixed_k, ours.slope) == (float(row["fixed"]), float(row["slope"]))
        assert list(ours.range_c) == data["astm_e1137"]["range"]
    assert len(class_names()) == 6


def test_a_resistor_class_has_the_tolerance_of_its_thermometer_class(published):
    """W 0.1 ... F 0.6 carry the tolerance at 0 °C in their name."""
    twin = {"0.1": "AA", "0.15": "A", "0.3": "B", "0.6": "C"}
    for name, row in published("iec60751.toml")["resistor_class"].items():
        ours = tolerance_class(f"IEC 60751 {twin[name.split()[1]]}", "wire")
        assert (ours.fixed_k, ours.slope) == (float(row["fixed"]), float(row["slope"]))


def test_tolerances_in_ohm_of_the_1995_edition_follow_from_those_in_kelvin(published):
    table = published("iec60751.toml")["tolerance_1995_in_ohm"]
    classes = [tolerance_class(f"IEC 60751 {letter}", "wire") for letter in "AB"]
    for t, printed in table.items():
        where = np.array([float(t)])
        slope = 100 * cvd.slope_per_k(where, cvd.IEC_A, cvd.IEC_B, cvd.IEC_C)
        for ours, kelvin, ohms in zip(classes, printed[::2], printed[1::2], strict=True):
            assert float(ours.tolerance_k(where)[0]) == pytest.approx(float(kelvin))
            assert abs(float((ours.tolerance_k(where) * slope)[0]) - float(ohms)) <= 0.0051


def test_an_unknown_class_is_answered_with_the_known_ones():
    with pytest.raises(FittingError, match="IEC 60751 AA"):
        tolerance_class("1/10 DIN", "wire")
    with pytest.raises(FittingError, match="wire, film"):
        tolerance_class("IEC 60751 A", "glass")
