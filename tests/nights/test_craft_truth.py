"""What was put into simulated thermometers is found again, within the uncertainty that is stated with it."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.journal.read import verify
from daemon.rehearsal import rehearse
from daemon.results.calibrate import ItemResult, calibrate
from daemon.results.judgement import judge_night
from daemon.results.report import write_report
from daemon.results.story import tell
from plans.loading import load_plan, parse_plan
from simulators.physics.probe import HYSTERESIS_PLAY_K
from tests.nights.rehearsed import EXAMPLES, RehearsedNight

HYSTERESIS_PPM, SHIFT_PPM, HEATING_MW_PER_K = 20.0, 40.0, 12.0
TRUTHS = f"""
[simulation.truths.TR-IPRT-11]
hysteresis_ppm = {HYSTERESIS_PPM}

[simulation.truths.TR-IPRT-12]
shift_ppm = {SHIFT_PPM}
shifts_above_c = 130.0
heating_mw_per_k = {HEATING_MW_PER_K}
"""
POINTS = """
[[points]]
temperature_c = 80.0
self_heating_ma = 0.5

[[points]]
temperature_c = 140.0

[[points]]
temperature_c = 80.0
"""
ALPHA = 3.9083e-3  # IEC 60751, slope at 0 °C over R0


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> RehearsedNight:
    """0, 80, 140, 80, 0 °C with three thermometers that have something to find."""
    texts = load_plan(EXAMPLES / "short.toml").texts
    items = '[[items]]\nserial = "TR-IPRT-12"\nchannel = 4\n\n[defaults]'
    head, tail = texts.plan.replace("ascending", "up_and_down").split("[[points]]\ntemperature_c = 40.0\n")
    plan = head.replace("[defaults]", items) + POINTS + tail
    run = parse_plan(plan, texts.bench + TRUTHS, texts.register)
    record = tmp_path_factory.mktemp("truth") / "night.record"
    return RehearsedNight(run, record, rehearse(run, record))


def item(night: RehearsedNight, serial: str) -> ItemResult:
    return calibrate(night.record).item(serial)


def play_at(night: RehearsedNight, when_s: float) -> float:
    """Where the element's play stands at a time, from -1 (came from below) to +1, by the bath's own course.

    What the bath overshoots on arrival takes a part of the play back before anything is read.
    """
    course = night.rehearsal.scene.source.medium_c[: int(when_s) + 1]
    held_c = course[0]
    for t_c in course:
        held_c = min(max(held_c, t_c - HYSTERESIS_PLAY_K / 2), t_c + HYSTERESIS_PLAY_K / 2)
    return 2.0 * (held_c - course[-1]) / HYSTERESIS_PLAY_K


def test_hysteresis_is_found_within_its_uncertainty(night: RehearsedNight) -> None:
    found = item(night, "TR-IPRT-11")
    (one,) = found.hysteresis
    up, down = found.points[1], found.points[3]
    turned = 0.5 * (play_at(night, down.mid_time_s) - play_at(night, up.mid_time_s))
    true_mk = 1e-3 * turned * HYSTERESIS_PPM * up.resistance_ohm / up.sensitivity_ohm_per_k
    assert one.half_difference_mk == pytest.approx(true_mk, abs=2.0 * one.standard_mk)
    assert true_mk > 20.0 * one.standard_mk


def test_a_thermometer_without_hysteresis_shows_none(night: RehearsedNight) -> None:
    (one,) = item(night, "TR-CHK-31").hysteresis
    assert abs(one.half_difference_mk) < 2.0 * one.standard_mk


def test_the_shift_of_r0_is_found_within_its_uncertainty(night: RehearsedNight) -> None:
    found = item(night, "TR-IPRT-12")
    assert found.shift_mk is not None
    true_mk = 1e-3 * SHIFT_PPM / ALPHA
    assert found.shift_mk == pytest.approx(true_mk, abs=2.0 * found.shift_standard_mk)
    assert found.shift_standard_mk < 1.0


def test_a_shift_beyond_what_its_kind_may_show_makes_that_thermometer_alone_not_stable(
    night: RehearsedNight,
) -> None:
    flags = judge_night(calibrate(night.record), tell(night.record), verify(night.record)).flags
    (told,) = [flag for flag in flags if "not stable" in flag]
    assert told.startswith("TR-IPRT-12: not stable: a change of R0 of +") and "allows 5 mK" in told


def test_self_heating_is_found_within_its_uncertainty(night: RehearsedNight) -> None:
    for serial in ("TR-IPRT-11", "TR-IPRT-12"):
        (one,) = item(night, serial).self_heating
        truth = night.rehearsal.scene.truth(serial).truth
        true_mk = 1e3 * truth.self_heating_k(truth.resistance_ohm(80.0), one.current_ma)
        assert (one.current_ma, one.second_current_ma) == (1.0, 0.5)
        assert one.heating_mk == pytest.approx(true_mk, abs=3.0 * one.standard_mk)
        assert one.standard_mk < 1.5
        assert one.zero_power_standard_ohm > 0.0


def test_what_the_night_showed_stands_on_the_page(night: RehearsedNight, tmp_path: Path) -> None:
    write_report(night.record, tmp_path)
    page = (tmp_path / "summary.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    found = item(night, "TR-IPRT-11")
    (one,), (heating,) = found.hysteresis, found.self_heating
    assert f"{one.half_difference_mk:+.2f} mK (U " in page
    assert f"{heating.heating_mk:+.2f} mK (U " in page and f"{heating.zero_power_ohm:.5f} Ω (U " in page
    for words in ("s of readings / mK", "drift left / mK", "flagged", "worth"):
        assert words in page


def test_what_changed_at_a_return_point_is_found(tmp_path: Path) -> None:
    texts = load_plan(EXAMPLES / "short.toml").texts
    returns = '[zero]\nkind = "attended_ice_point"\nreason = "ice by hand"\ntemperature_c = 30.0\n'
    plan = texts.plan.replace("[zero]\ntemperature_c = 0.0\n", returns)
    truth = "\n[simulation.truths.TR-IPRT-11]\nshift_ppm = 60.0\nshifts_above_c = 35.0\n"
    run = parse_plan(plan, texts.bench + truth, texts.register)
    rehearse(run, tmp_path / "night.record")
    found = calibrate(tmp_path / "night.record").item("TR-IPRT-11")
    true_mk = 1e-3 * 60.0 * found.points[0].resistance_ohm / found.points[0].sensitivity_ohm_per_k
    assert found.shift_mk is None
    assert found.return_mk == pytest.approx(true_mk, abs=2.0 * found.shift_standard_mk)
