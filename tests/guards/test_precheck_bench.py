"""Before heat: cut-out, rates, dates, fluid and what a person must know."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.precheck import Finding, PrecheckReport, day_of_start, precheck
from daemon.precheck.calibrations import last_day
from drivers.clock import Clock
from plans.loading import load_plan, parse_plan

EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"


def report(
    name: str,
    bench: dict[str, str] | None = None,
    plan: dict[str, str] | None = None,
    register: dict[str, str] | None = None,
    today: date | None = None,
) -> PrecheckReport:
    texts = load_plan(EXAMPLES / name).texts
    changed = [
        edited(text, edits or {})
        for text, edits in ((texts.plan, plan), (texts.bench, bench), (texts.register, register))
    ]
    run = parse_plan(*changed)
    return precheck(run, today or day_of_start(run, Clock()))


def edited(text: str, edits: dict[str, str]) -> str:
    for old, new in edits.items():
        assert old in text
        text = text.replace(old, new)
    return text


def found(findings: tuple[Finding, ...], check: str) -> str:
    return " ".join(finding.text for finding in findings if finding.check == check)


CUT_OUT = "[heat_source.cut_out]\nsetting_c = 220.0\ntested_on = 2025-10-06\n"


def test_hot_work_without_an_independent_cut_out_is_refused() -> None:
    assert "No independent over-temperature cut-out" in found(
        report("overnight.toml", {CUT_OUT: ""}).refusals, "cut-out"
    )


def test_lukewarm_work_without_a_cut_out_is_only_cautioned() -> None:
    checked = report("short.toml", {CUT_OUT: ""})
    assert not checked.refused
    assert found(checked.cautions, "cut-out")


@pytest.mark.parametrize(
    ("setting", "refused", "words"),
    [
        ("205.0", True, "would trip in the night. Set it between 210 °C and 230 °C"),
        ("210.0", False, ""),
        ("230.0", False, ""),
        ("240.0", False, "lets fluid silicone oil"),
        ("250.0", True, "lets fluid silicone oil"),
    ],
)
def test_the_cut_out_lies_above_the_top_point_and_below_what_would_be_harmed(
    setting: str, refused: bool, words: str
) -> None:
    checked = report("overnight.toml", {"setting_c = 220.0": f"setting_c = {setting}"})
    assert checked.refused is refused
    assert words in found(checked.findings, "cut-out")


def test_nobody_is_told_to_raise_a_cut_out_above_a_rating() -> None:
    text = found(report("too-hot.toml").refusals, "cut-out")
    assert "Leave the cut-out below 450 °C and lower the hottest point to 440 °C." in text


@pytest.mark.parametrize(
    ("tested", "refused"), [("2025-01-20", False), ("2024-12-31", True), ("2026-02-01", True)]
)
def test_a_cut_out_is_proved_within_twelve_months(tested: str, refused: bool) -> None:
    checked = report("overnight.toml", {"tested_on = 2025-10-06": f"tested_on = {tested}"})
    assert bool(found(checked.refusals, "cut-out")) is refused


def test_an_overdue_reference_is_refused_and_one_due_soon_is_cautioned() -> None:
    assert "TR-REF-01 is due on 2026-11-10" in found(
        report("short.toml", today=date(2026, 11, 10)).refusals, "due dates"
    )
    assert "due soon" in found(report("short.toml", today=date(2026, 10, 20)).cautions, "due dates")


@given(
    begun=st.datetimes(datetime(2026, 1, 1), datetime(2026, 12, 31), timezones=st.just(UTC)),
    total_s=st.floats(60.0, 72 * 3600.0),
    zone_h=st.integers(-12, 14),
)
def test_no_certificate_runs_out_before_the_run_ends_in_whatever_time_zone(
    begun: datetime, total_s: float, zone_h: int
) -> None:
    ends = (begun + timedelta(seconds=total_s)).astimezone(timezone(timedelta(hours=zone_h)))
    assert ends.date() <= last_day(begun.date(), total_s) <= ends.date() + timedelta(days=3)


@pytest.mark.parametrize(("due", "refused"), [("2026-01-16", True), ("2026-01-17", False)])
def test_a_night_over_midnight_needs_certificates_that_last_into_the_morning(due: str, refused: bool) -> None:
    checked = report("short.toml", {"calibration_due = 2026-09-01": f"calibration_due = {due}"})
    assert bool(found(checked.refusals, "due dates")) is refused


def test_a_simulated_night_is_judged_by_its_own_date_a_real_one_by_the_calendar() -> None:
    texts = load_plan(EXAMPLES / "short.toml").texts
    bench = texts.bench[: texts.bench.index("\n[simulation]")].replace('"simulated:', '"tcp://127.0.0.1:1" #')
    today = Clock().utc().date()
    assert day_of_start(parse_plan(texts.plan, bench, texts.register), Clock()) - today <= timedelta(days=1)
    assert day_of_start(load_plan(EXAMPLES / "short.toml"), Clock()) == date(2026, 1, 15)
    assert not report("short.toml").refused
    assert not found(report("short.toml").findings, "due dates")


def test_a_missing_due_date_is_said() -> None:
    checked = report("short.toml", {"resistor_due = 2026-09-01\n": ""})
    assert "reference resistor" in found(checked.cautions, "due dates")


def test_a_ramp_faster_than_a_probe_stands_is_refused() -> None:
    delicate = {'serial = "TR-IPRT-12"': 'serial = "TR-IPRT-12"\nheating_limit_k_per_min = 2.5'}
    text = found(report("block-night.toml", register=delicate).refusals, "rate")
    assert "probe TR-IPRT-12 may be heated at 2.5 K/min at most" in text
    assert "Set ramp_k_per_min to 2.5 or less" in text


def test_a_ramp_beyond_the_source_is_refused() -> None:
    checked = report("short.toml", plan={"ramp_k_per_min = 2.0": "ramp_k_per_min = 4.0"})
    assert "the bath may be heated or cooled at 3 K/min" in found(checked.refusals, "rate")


def test_an_sprt_from_above_480_is_not_cooled_by_the_usual_ramp() -> None:
    assert not found(report("too-hot.toml").infos, "rate")
    hotter = report("too-hot.toml", plan={"temperature_c = 480.0": "temperature_c = 490.0"})
    assert not found(hotter.refusals, "rate")
    slow = "The last point (50 °C) is approached at 0.83 K/min down to 480 °C: probe TR-REF-02"
    assert slow in found(hotter.infos, "rate")


def test_fused_silica_does_not_go_cold_into_a_hot_furnace() -> None:
    hot = {"temperature_c = 50.0": "temperature_c = 520.0"}
    assert "cold into it" in found(report("too-hot.toml", plan=hot).refusals, "shock")


@pytest.mark.parametrize(("fire", "refused"), [("245.0", False), ("244.0", True)])
def test_the_cut_out_stays_25_kelvin_below_the_fire_point(fire: str, refused: bool) -> None:
    low = {"flash_c = 302.0": "flash_c = 240.0", "fire_c = 340.0": f"fire_c = {fire}"}
    assert bool(found(report("overnight.toml", low).refusals, "fire point")) is refused


def test_water_is_left_alone_only_up_to_80_degrees() -> None:
    water = {
        'kind = "silicone_oil"': 'kind = "water"\nboiling_c = 100.0',
        "freezing_c = -60.0": "freezing_c = -60.0",
    }
    assert "80 °C" in found(report("overnight.toml", water).refusals, "too hot")


def test_figures_that_the_plan_tightens_are_said() -> None:
    tighter = {"[finish]": "[guards.jump]\nstep_k = 1.0\n\n[finish]"}
    texts = [one.text for one in report("short.toml", plan=tighter).infos if one.check == "guards"]
    assert texts == ["The plan tightens the guard jump: step_k is 1, by default 2 K."]


def test_a_plan_that_loosens_a_guard_is_refused() -> None:
    looser = {"[finish]": "[guards.jump]\nstep_k = 3.0\n\n[finish]"}
    assert "a plan may set at most 2 K" in found(report("short.toml", plan=looser).refusals, "guards")


@pytest.mark.parametrize("fitted", ["true", "false"])
def test_a_stuck_relay_is_not_protected_with_or_without_a_contactor(fitted: str) -> None:
    text = found(report("short.toml", {"contactor = true": f"contactor = {fitted}"}).cautions, "contactor")
    assert "a stuck relay is not protected by" in text


def test_an_unknown_power_return_is_taken_for_heating_again() -> None:
    unknown = {'"resumes"': '"unknown"'}
    assert "taken to heat again" in found(report("short.toml", unknown).cautions, "power return")


@pytest.mark.parametrize("name", ["overnight.toml", "short.toml", "block-night.toml", "too-hot.toml"])
def test_every_report_says_it_is_no_safety_system_and_ends_its_cautions_with_the_rules(name: str) -> None:
    checked = report(name)
    assert "cut-out stays required" in found(checked.cautions, "not a safety system")
    assert checked.cautions[-1].text.startswith("Follow your local codes, the safety data sheet")


def test_a_shallow_probe_is_cautioned_in_diameters() -> None:
    checked = report("short.toml", {"immersion_mm = 300.0": "immersion_mm = 100.0"})
    assert "12 diameters deep" in found(checked.cautions, "immersion")
    assert not checked.refused


def test_a_criterion_the_source_hardly_meets_is_cautioned() -> None:
    tight = {"[zero]": "[defaults.equilibrium]\ndrift_mk = 0.5\n\n[zero]"}
    assert "drift 0.5 mK" in found(report("short.toml", plan=tight).cautions, "criterion")


def test_a_run_beyond_three_days_is_refused() -> None:
    slow = {"ramp_k_per_min = 2.0": "ramp_k_per_min = 0.02"}
    assert "72 h is the most" in found(report("short.toml", plan=slow).refusals, "duration")


def test_every_finding_has_a_sentence_that_ends() -> None:
    for name in ("overnight.toml", "block-night.toml", "too-hot.toml"):
        for finding in report(name).findings:
            assert finding.text.endswith(".")
            assert finding.severity in ("refused", "caution", "info")


def test_a_source_that_cannot_tell_a_restart_is_said_to(tmp_path: Path) -> None:
    shipped = Path(__file__).parents[2] / "drivers" / "profiles" / "ascii-bath.toml"
    text = shipped.read_text("utf-8")
    before, after = text.index("[read.uptime]"), text.index("[read.ramp]")
    own = tmp_path / "own.toml"
    own.write_text(text[:before] + text[after:], "utf-8")
    assert found(report("short.toml").cautions, "unseen restart") == ""
    changed = report("short.toml", bench={'profile = "ascii-bath"': f'profile = "{own}"'})
    assert "restart between two looks" in found(changed.cautions, "unseen restart")


def test_whether_the_source_comes_down_without_any_computer_is_said() -> None:
    assert "until a person comes" in found(report("overnight.toml").cautions, "computer lost")
    block = report("block-night.toml")
    assert "takes 40 °C by itself after 60 s" in found(block.findings, "computer lost")
    assert found(block.cautions, "computer lost") == ""


def test_a_parking_temperature_to_which_the_controller_cannot_fall_back_is_refused(tmp_path: Path) -> None:
    shipped = Path(__file__).parents[2] / "drivers" / "profiles" / "modbus-block.toml"
    own, text = tmp_path / "own.toml", shipped.read_text("utf-8")
    before, after = text.split("[write.fall_back]")
    own.write_text(f"{before}[write.fall_back]{after.replace('[-40.0, 700.0]', '[50.0, 700.0]')}", "utf-8")
    changed = report("block-night.toml", bench={'profile = "modbus-block"': f'profile = "{own}"'})
    assert "from 50 °C to 700 °C, parking is at 40 °C" in found(changed.refusals, "computer lost")
