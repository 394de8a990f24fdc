"""Annealing: read as found first, heat, hold, cool no faster than allowed, until nothing changes any more."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.journal.entry import Kind
from daemon.journal.read import read_entries, verify
from daemon.rehearsal import rehearse
from daemon.results.calibrate import NightResult, calibrate
from daemon.results.gather import measured_points
from daemon.results.judgement import judge_night
from daemon.results.story import tell
from plans.errors import PlanError
from plans.loading import load_plan, parse_plan
from plans.run_plan import RunPlan
from tests.nights.rehearsed import EXAMPLES, RehearsedNight

SHIFT_PPM, ALPHA = 60.0, 3.9083e-3
TRUTH = f"\n[simulation.truths.TR-IPRT-11]\nshift_ppm = {SHIFT_PPM}\nshifts_above_c = 90.0\n"
ANNEAL = """
[anneal]
temperature_c = 110.0
hold_minutes = 10
cooling_k_per_min = 1.5
cycles = 3
stable_within_mk = 3.0
"""


def annealed(more: str = ANNEAL) -> RunPlan:
    texts = load_plan(EXAMPLES / "short.toml").texts
    return parse_plan(texts.plan + more, texts.bench + TRUTH, texts.register)


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> RehearsedNight:
    record = tmp_path_factory.mktemp("annealed") / "night.record"
    run = annealed()
    return RehearsedNight(run, record, rehearse(run, record))


def marks(night: RehearsedNight, mark: str) -> list[dict[str, object]]:
    entries = read_entries(night.record, frozenset({Kind.MILESTONE}))
    return [dict(entry.body) for entry in entries if entry.body["mark"] == mark]


def result(night: RehearsedNight) -> NightResult:
    return calibrate(night.record)


def test_annealing_is_repeated_until_nothing_changes_and_then_left(night: RehearsedNight) -> None:
    judged = marks(night, "annealing_judged")
    assert [one["stable"] for one in judged] == [False, True]
    assert len(marks(night, "anneal_held")) == 2
    assert [one["index"] for one in marks(night, "annealing_not_needed")] == [5, 6]


def test_what_annealing_changed_is_reported_as_left_minus_as_found(night: RehearsedNight) -> None:
    item = result(night).item("TR-IPRT-11")
    assert item.annealing_mk == pytest.approx(1e-3 * SHIFT_PPM / ALPHA, abs=2.0 * item.shift_standard_mk)
    other = result(night).item("TR-CHK-31")
    assert other.annealing_mk == pytest.approx(0.0, abs=1.0)


def test_the_shift_over_the_run_does_not_count_the_annealing(night: RehearsedNight) -> None:
    assert result(night).item("TR-IPRT-11").shift_mk == pytest.approx(0.0, abs=1.0)


def test_the_points_as_found_are_kept_and_not_fitted(night: RehearsedNight) -> None:
    assert [point.stage for point in measured_points(night.record)][:3] == [
        "zero_before",
        "annealed",
        "annealed",
    ]
    assert len(result(night).item("TR-IPRT-11").points) == 5


def test_the_source_is_told_to_cool_no_faster_than_the_annealing_allows(night: RehearsedNight) -> None:
    held = False
    ramps = []
    for entry in read_entries(night.record, frozenset({Kind.MILESTONE, Kind.ACTION})):
        if entry.body.get("do") == "write_ramp" and held:
            ramps.append(entry.body["rate_k_per_min"])
        held = entry.body.get("mark") == "anneal_held" or (held and entry.body.get("do") != "write_ramp")
    assert ramps == [1.5, 1.5]


def test_annealing_that_was_not_needed_is_not_missed_in_the_morning(night: RehearsedNight) -> None:
    flags = judge_night(result(night), tell(night.record), verify(night.record)).flags
    assert not any("anneal" in flag and "not measured" in flag for flag in flags)


def test_annealing_without_end_stops_the_run_for_a_decision(tmp_path: Path) -> None:
    record = tmp_path / "night.record"
    run = annealed(ANNEAL.replace("cycles = 3", "cycles = 1"))
    ended = RehearsedNight(run, record, rehearse(run, record))
    (end,) = marks(ended, "run_ended_early")
    assert "still changing by 15." in str(end["reason"]) and "decide before more heat" in str(end["reason"])
    assert [point.stage for point in measured_points(record)] == ["zero_before", "annealed"]


def test_annealing_before_anything_was_read_as_found_needs_a_name() -> None:
    texts = load_plan(EXAMPLES / "short.toml").texts
    blind = texts.plan.replace("[zero]\n", '[zero]\nfirst = false\nreason = "short of time"\n')
    with pytest.raises(PlanError, match="read them as found first"):
        parse_plan(blind + ANNEAL, texts.bench, texts.register)
    parse_plan(blind + ANNEAL + 'as_found_waived_by = "M. Tern"\n', texts.bench, texts.register)
