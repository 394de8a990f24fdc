"""A recorded night, replayed: the same program decides the same, a changed one is found out at once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from daemon.journal.read import read_entries
from daemon.replay.changed import recorded_plan, with_guards
from daemon.replay.difference import CHANGED, MISSING, NEW
from daemon.replay.replay import Replayed, replay
from plans.run_plan import RunPlan
from tests.nights.replayed import brief_night, first_apart, recorded


def again(record: Path) -> Replayed:
    """The record through the very program that wrote it."""
    return replay(record, recorded_plan(record))


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A night in which nothing happens."""
    return recorded(tmp_path_factory.mktemp("quiet") / "night.record", brief_night())


@pytest.fixture(scope="module")
def halted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A night whose stirrer stops."""
    path = tmp_path_factory.mktemp("halted") / "night.record"
    return recorded(path, brief_night(), ["stirrer-stop@0:12"])


def test_every_decision_of_a_night_is_made_again(quiet: Path) -> None:
    found = again(quiet)
    entries = list(read_entries(quiet))
    assert found.differences == ()
    outside = sum(e.kind in ("opened", "closed") or e.body.get("by") == "idle" for e in entries)
    assert sum(found.same.values()) == len(entries) - outside
    assert found.replayed_s == found.lasted_s == entries[-1].when_s - entries[0].when_s


HELD = [(500.3, "hold", "ks"), (560.0, "acknowledge", "wr"), (612.7, "release", "ks")]
NIGHTS = {
    "fault-held-then-halted": ("bath", ["silence@0:10=source/40"], []),
    "held-and-released": ("bath", [], HELD),
    "halted-by-word": ("block", [], [(300.0, "halt", "ks"), (330.0, "acknowledge", "ks")]),
    "cut-by-word": ("furnace", ["late-answer@0:02=bridge/60"], [(400.1, "cut", "ks")]),
}


@pytest.mark.parametrize("name", NIGHTS)
def test_faults_and_words_are_replayed_at_their_instants(name: str, tmp_path: Path) -> None:
    plant, faults, words = NIGHTS[name]
    record = recorded(tmp_path / "night.record", brief_night(plant), faults, words)
    found = again(record)
    assert found.differences == ()
    assert found.same["state"] >= 3 and found.same.get("operator", 0) == len(words)


def mutated(run: RunPlan, tmp_path: Path, guards: str) -> RunPlan:
    """The plan with guards as in a file of changed figures."""
    path = tmp_path / "changed.toml"
    path.write_text(guards, encoding="utf-8")
    return with_guards(run, path)


def test_a_tighter_guard_speaks_at_the_instant_at_which_it_would_have_spoken(
    quiet: Path, tmp_path: Path
) -> None:
    run = mutated(brief_night(), tmp_path, "[guards.rising_too_fast]\nfactor = 1.001\nstands_s = 5\n")
    found = replay(quiet, run)
    truth = first_apart(quiet, recorded(tmp_path / "other.record", run))
    first = found.differences[0]
    assert (first.seq, first.what) == (truth.seq, NEW) and "rising_too_fast" in first.now
    assert found.parted is not None and "running → parking" in found.parted.now
    assert found.parted.since_start_s == first.since_start_s


@pytest.mark.parametrize(
    "change", [{"ramp_k_per_min": "2.0"}, {"minimum_soak_minutes": "9"}, {"readings_per_visit": "4"}]
)
def test_a_changed_plan_parts_where_the_other_night_would_have_parted(
    quiet: Path, tmp_path: Path, change: dict[str, str]
) -> None:
    run = brief_night(**change)
    found = replay(quiet, run)
    truth = first_apart(quiet, recorded(tmp_path / "other.record", run))
    assert found.differences[0].seq == truth.seq
    assert found.parted is not None and found.replayed_s < found.lasted_s


def test_a_guard_that_lost_its_judgement_is_found_where_it_should_have_spoken(
    halted: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("daemon.guards.source_state.StirrerStopped.judge", lambda *_: None)
    found = again(halted)
    spoke = next(e for e in read_entries(halted) if e.kind == "verdict")
    assert (found.differences[0].seq, found.differences[0].what) == (spoke.seq, MISSING)
    assert found.parted is not None and "running → cut" in found.parted.recorded


def test_an_alarm_that_repeats_sooner_is_found_at_its_first_early_call(
    halted: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("daemon.executor.alarm.REPEAT_S", 240.0)
    found = again(halted)
    other = recorded(tmp_path / "other.record", brief_night(), ["stirrer-stop@0:12"])
    assert found.differences[0].seq == first_apart(halted, other).seq
    assert found.differences[0].what == NEW and found.parted is None


def test_another_sentence_of_a_guard_is_a_difference_but_ends_nothing(
    halted: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from daemon.guards.guard import Guard

    said = Guard.verdict
    monkeypatch.setattr(
        Guard, "verdict", lambda *a, **k: replace(said(*a, **k), sentence="other words")
    )  # fmt: skip
    found = again(halted)
    assert {one.what for one in found.differences} == {CHANGED} and found.parted is None
    assert found.replayed_s == found.lasted_s
