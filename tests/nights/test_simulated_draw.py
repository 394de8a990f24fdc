"""Drawn thermometers are plausible, and their errors have the size that was asked for."""

from __future__ import annotations

import math

import pytest

from simulators.draw import DrawError, Place, certified_its90, draw_head, draw_probe, draw_reference
from simulators.physics.platinum import CallendarVanDusen

CLASS_A_C = range(-100, 451, 25)


def kelvin_from_nominal(ohm: float, t_c: float) -> float:
    nominal = CallendarVanDusen()
    sensitivity = nominal.resistance_ohm(t_c + 0.5) - nominal.resistance_ohm(t_c - 0.5)
    return (ohm - nominal.resistance_ohm(t_c)) / sensitivity


@pytest.mark.parametrize("form", ["its90", "callendar_van_dusen"])
def test_industrial_thermometers_lie_within_class_a(form: str) -> None:
    """IEC 60751:2008 class A: 0.15 °C + 0.002 |t|."""
    for seed in range(40):
        probe = draw_probe("TR-201", 2, "iprt", 100.0, seed, form=form)
        for t_c in CLASS_A_C:
            off_k = kelvin_from_nominal(probe.characteristic.resistance_ohm(t_c), t_c)
            assert abs(off_k) <= 0.15 + 0.002 * abs(t_c), (seed, t_c)


def test_standard_thermometers_are_pure_enough_for_the_scale() -> None:
    """ITS-90 text: W(29.7646 °C) >= 1.11807 or W(-38.8344 °C) <= 0.844235."""
    for seed in range(40):
        sprt = draw_probe("TR-301", 1, "sprt", 25.5, seed).characteristic
        r_tpw = sprt.resistance_ohm(0.01)
        assert sprt.resistance_ohm(29.7646) / r_tpw >= 1.11807
        assert sprt.resistance_ohm(-38.8344) / r_tpw <= 0.844235


@pytest.mark.parametrize("kind", ["sprt", "semi_standard", "iprt"])
def test_the_characteristic_has_no_step_or_kink_at_zero(kind: str) -> None:
    for seed in range(10):
        curve = draw_probe("TR-401", 1, kind, 100.0, seed).characteristic
        below, at, above = (curve.resistance_ohm(t_c) for t_c in (-0.1, 0.0, 0.1))
        assert (above - at) == pytest.approx(at - below, rel=1e-3)


def test_a_probe_depends_on_seed_and_serial_only() -> None:
    def ohm(serial: str, channel: int, seed: int) -> float:
        return draw_probe(serial, channel, "iprt", 100.0, seed).resistance_ohm(100.0)

    assert ohm("TR-501", 2, 7) == ohm("TR-501", 5, 7)
    assert len({ohm("TR-501", 2, 7), ohm("TR-501", 2, 8), ohm("TR-502", 2, 7)}) == 3


def test_reference_errors_have_the_stated_standard_uncertainty() -> None:
    certified = CallendarVanDusen()

    def error_mk(seed: int, t_c: float) -> float:
        drawn = draw_reference(
            "TR-001", 1, "sprt", certified, seed, u_common_mk=4.0, u_slope_mk_per_100_k=3.0
        )
        ohm = drawn.characteristic.resistance_ohm(t_c)
        return 1e3 * kelvin_from_nominal(ohm, t_c)

    for t_c, expected_mk in ((0.0, 4.0), (200.0, math.hypot(4.0, 6.0))):
        errors = [error_mk(seed, t_c) for seed in range(400)]
        assert math.sqrt(sum(e * e for e in errors) / 400) == pytest.approx(expected_mk, rel=0.12)
        assert abs(sum(errors) / 400) < 4 * expected_mk / 20


def test_places_are_spread_evenly_within_their_half_width() -> None:
    place = Place(half_width_k=0.003, slope_half_width=1e-4)
    drawn = [draw_probe("TR-601", 1, "iprt", 100.0, seed, place=place) for seed in range(400)]
    offsets = [probe.position_k for probe in drawn]
    assert max(map(abs, offsets)) <= 0.003
    assert math.sqrt(sum(o * o for o in offsets) / 400) == pytest.approx(0.003 / math.sqrt(3), rel=0.1)
    assert max(abs(probe.position_slope) for probe in drawn) <= 1e-4


def test_a_bore_makes_a_probe_slower_and_warmer() -> None:
    liquid = draw_probe("TR-701", 1, "iprt", 100.0, 1)
    bore = draw_probe("TR-701", 1, "iprt", 100.0, 1, place=Place(in_bore=True))
    assert bore.lags_s[0] == 5 * liquid.lags_s[0]
    assert bore.self_heating_k(100.0, 1.0) > 2 * liquid.self_heating_k(100.0, 1.0)


def test_a_certificate_on_one_side_is_continued_on_the_other() -> None:
    warm = certified_its90(25.5, {"3.3.2.2": {"a": -1e-4, "b": -1e-5}})
    assert warm.resistance_ohm(-10.0) == pytest.approx(25.5 * 0.9601, rel=1e-3)
    cold = certified_its90(25.5, {"3.3.1.3": {"a": -1e-4, "b": -1e-5}})
    assert cold.resistance_ohm(10.0) == pytest.approx(25.5 * 1.0398, rel=1e-3)


def test_a_head_sensor_sees_little_of_the_source() -> None:
    assert draw_head("TR-101-head", 7, 1).coupling == 0.1


@pytest.mark.parametrize(("kind", "ohm"), [("thermistor", 100.0), ("iprt", float("nan")), ("sprt", 0.0)])
def test_what_cannot_be_drawn_is_refused(kind: str, ohm: float) -> None:
    with pytest.raises(DrawError, match="cannot draw"):
        draw_probe("TR-801", 1, kind, ohm, 1)
    with pytest.raises(DrawError, match="at least one sub-range"):
        certified_its90(25.5, {})
