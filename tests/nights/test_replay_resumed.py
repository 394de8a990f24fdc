"""An interrupted night, resumed or parked, replays with its gap; an unfinished one as far as it goes."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.journal.read import read_entries
from daemon.rehearsal import resume_rehearsal
from daemon.replay.changed import recorded_plan
from daemon.replay.replay import replay
from plans.loading import parse_plan
from plans.run_plan import RunPlan
from tests.nights.replayed import brief_night, cut_off, recorded

CONTINUE = '\n[resume]\npolicy = "continue"\nmaximum_gap_s = 120\n'


def may_continue() -> RunPlan:
    """The brief night, with leave to go on after a gap."""
    run = brief_night()
    return parse_plan(run.texts.plan + CONTINUE, run.texts.bench, run.texts.register, run.names)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A night that was never interrupted."""
    return recorded(tmp_path_factory.mktemp("whole") / "night.record", may_continue())


@pytest.mark.parametrize(("share", "gap_s", "ends"), [(0.4, 60.0, "finished"), (0.6, 300.0, "parked")])
def test_a_resumed_night_replays_with_fresh_guards_behind_its_gap(
    whole: Path, tmp_path: Path, share: float, gap_s: float, ends: str
) -> None:
    record = cut_off(whole, tmp_path / "night.record", share)
    outcome = resume_rehearsal(recorded_plan(record), record, gap_s=gap_s).outcome
    found = replay(record, recorded_plan(record))
    assert str(outcome.state) == ends
    assert found.differences == () and found.replayed_s == found.lasted_s


def test_a_night_that_was_interrupted_twice_replays(whole: Path, tmp_path: Path) -> None:
    once = cut_off(whole, tmp_path / "once.record", 0.4)
    resume_rehearsal(recorded_plan(once), once, gap_s=30.0)
    twice = cut_off(once, tmp_path / "twice.record", 0.7)
    resume_rehearsal(recorded_plan(twice), twice, gap_s=45.0)
    assert sum(entry.kind == "interruption" for entry in read_entries(twice)) == 2
    assert replay(twice, recorded_plan(twice)).differences == ()


def test_an_unfinished_record_replays_as_far_as_it_goes(whole: Path, tmp_path: Path) -> None:
    record = cut_off(whole, tmp_path / "night.record", 0.5)
    found = replay(record, recorded_plan(record))
    assert found.differences == () and 0.0 < found.lasted_s < replay(whole, may_continue()).lasted_s
