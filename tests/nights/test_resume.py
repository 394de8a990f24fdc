"""Killed in the middle of the night: the record holds, the run goes on or is parked, never guessed."""

from __future__ import annotations

import math
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from daemon.actions import LookAtSource, Mark
from daemon.journal.entry import Entry, Kind
from daemon.journal.read import RecordError, read_entries, verify
from daemon.night import CannotResume
from daemon.observations import Done
from daemon.preparation import script_of
from daemon.procedure.run import calibration_run
from daemon.procedure.script import Procedure, Resoak
from daemon.rehearsal import rehearse, resume_rehearsal
from daemon.replay.replay import replay
from daemon.results.calibrate import calibrate
from daemon.results.report import write_report
from daemon.service.recovery import if_open, newest_record
from daemon.states import State
from drivers.heat_source import capabilities_of
from drivers.registry import find_profile
from plans.loading import load_plan, parse_plan
from tests.nights.rehearsed import EXAMPLES, RehearsedNight
from tests.nights.report_nights import told_again

ROOT = Path(__file__).resolve().parents[2]
_NIGHT = """
import sys
from pathlib import Path
from typing import Any
from daemon.rehearsal import rehearse
from plans.loading import load_plan
def listen(entry):
    if entry.seq == 8000 and sys.argv[4]:
        said[0](sys.argv[4], "a person at the bench", "")
    if entry.seq == int(sys.argv[3]):
        import os, signal
        os.kill(os.getpid(), signal.SIGKILL)
said = []
rehearse(load_plan(Path(sys.argv[1])), Path(sys.argv[2]), listeners=[listen], hand_over=said.append)
"""
CONTINUE = '\n[resume]\npolicy = "continue"\nmaximum_gap_s = 120\n'


def killed(tmp_path: Path, plan: str, at_entry: int, word: str = "") -> Path:
    """A record whose writer was killed at that entry, after somebody said the word."""
    record = tmp_path / "night.record"
    words = [sys.executable, "-c", _NIGHT, plan, str(record), str(at_entry), word]
    done = subprocess.run(words, cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT)}, check=False)
    assert done.returncode == -signal.SIGKILL
    return record


@pytest.fixture(scope="module")
def left_behind(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A night that may continue, killed in its third hour."""
    folder = tmp_path_factory.mktemp("left")
    return killed(folder, str(continuing(folder)), 9000)


@pytest.fixture
def left(left_behind: Path, tmp_path: Path) -> Path:
    """A copy of it, to be resumed; its plan lies beside it."""
    for path in left_behind.parent.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    return tmp_path / left_behind.name


def continuing(folder: Path, *more_points_c: float) -> Path:
    """The short example, with more points, and with leave to continue after a gap."""
    for name in ("bench-bath.toml", "register.toml"):
        (folder / name).write_text((EXAMPLES / name).read_text("utf-8"), "utf-8")
    points = "".join(f"\n[[points]]\ntemperature_c = {point_c}\n" for point_c in more_points_c)
    path = folder / "plan.toml"
    path.write_text((EXAMPLES / "short.toml").read_text("utf-8") + points + CONTINUE, "utf-8")
    return path


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> RehearsedNight:
    """Six points, never interrupted."""
    folder = tmp_path_factory.mktemp("undisturbed")
    run = load_plan(continuing(folder, 70.0, 100.0, 120.0))
    return RehearsedNight(run, folder / "night.record", rehearse(run, folder / "night.record"))


def broken_off(night: RehearsedNight, record: Path, share: float) -> Path:
    """The record as a kill leaves it after that share of its entries."""
    last = int(share * night.rehearsal.outcome.entries)
    return told_again(night.record, record, lambda e: [(e.kind, e.body)] if e.seq <= last else [])


@pytest.mark.parametrize("share", [0.05, 0.5, 0.97])
def test_a_night_broken_off_resumes_to_the_same_coefficients(
    undisturbed: RehearsedNight, tmp_path: Path, share: float
) -> None:
    record = broken_off(undisturbed, tmp_path / "night.record", share)
    before = verify(record)
    assert before.intact and not before.closed

    outcome = resume_rehearsal(undisturbed.run, record, gap_s=60.0).outcome
    assert outcome.state is State.FINISHED

    after = verify(record)
    assert after.intact and after.closed and after.entries > before.entries
    resumed = calibrate(record)
    for item in calibrate(undisturbed.record).items:
        again = resumed.item(item.serial).characteristic
        assert item.characteristic is not None and again is not None
        low_c = max(item.characteristic.range_c[0], again.range_c[0])
        high_c = min(item.characteristic.range_c[1], again.range_c[1])
        grid = np.linspace(low_c + 0.01, high_c - 0.01, 21)
        moved_k = again.temperature_c(item.characteristic.resistance_ohm(grid)) - grid
        assert np.max(np.abs(moved_k)) < 1.5e-3  # other bridge noise and bath ripple at the re-soaked points


@pytest.mark.parametrize(
    ("fault", "why"),
    [
        ("silence@=bridge", "the bridge is not there: "),
        ("wrong-identity@=bridge", "the bridge is another one: maker TERN ROCK"),
        ("wrong-identity@=source", "the source is another one: model EXBATH"),
    ],
)
def test_an_instrument_that_is_gone_or_exchanged_after_the_gap_ends_the_run_in_parking(
    undisturbed: RehearsedNight, tmp_path: Path, fault: str, why: str
) -> None:
    last = undisturbed.rehearsal.outcome.entries // 2
    left_s = next(e.when_s for e in read_entries(undisturbed.record) if e.seq == last)
    hours, minutes = divmod(math.ceil(left_s / 60.0), 60)
    faults = {"faults": [fault.replace("@", f"@{hours}:{minutes:02d}")]}

    def tell(entry: Entry) -> list[tuple[Kind, dict[str, Any]]]:
        body = dict(entry.body) | (faults if entry.kind == Kind.OPENED else {})
        return [(entry.kind, body)] if entry.seq <= last else []

    record = told_again(undisturbed.record, tmp_path / "night.record", tell)
    rehearsal = resume_rehearsal(undisturbed.run, record, gap_s=90.0)
    assert rehearsal.outcome.state is State.PARKED
    (gap,) = [e for e in read_entries(record, frozenset({Kind.INTERRUPTION}))]
    assert why in gap.body["reason"]
    assert rehearsal.scene.source.controller.set_point_c <= undisturbed.run.parking_c
    assert not rehearsal.scene.source.controller.heater_on


def test_a_resumed_run_is_watched_at_the_pace_asked_for(undisturbed: RehearsedNight, tmp_path: Path) -> None:
    record = broken_off(undisturbed, tmp_path / "night.record", 0.99)
    broken_off_s = max(entry.utc_s for entry in read_entries(record))
    began_s = time.monotonic()
    resume_rehearsal(undisturbed.run, record, gap_s=60.0, pace=1000.0)
    left_s = max(entry.utc_s for entry in read_entries(record)) - broken_off_s - 60.0
    assert left_s > 300.0 and time.monotonic() - began_s >= left_s / 1000.0


def test_the_gap_stands_in_the_record(left: Path) -> None:
    plan, record = left.with_name("plan.toml"), left
    resume_rehearsal(load_plan(plan), record, gap_s=90.0)
    (gap,) = [e for e in read_entries(record, frozenset({Kind.INTERRUPTION}))]
    assert gap.body["gap_s"] == 90.0 and "90 s" in gap.body["reason"]


def test_without_leave_to_continue_it_is_parked_and_never_resumed(tmp_path: Path) -> None:
    plan = EXAMPLES / "short.toml"
    record = killed(tmp_path, str(plan), 9000)
    run = load_plan(plan)
    assert resume_rehearsal(run, record, gap_s=30.0).outcome.state is State.PARKED
    with pytest.raises(CannotResume, match="never resumed"):
        resume_rehearsal(run, record, gap_s=30.0)


def test_after_too_long_a_gap_it_is_parked(left: Path) -> None:
    plan, record = left.with_name("plan.toml"), left
    assert resume_rehearsal(load_plan(plan), record, gap_s=500.0).outcome.state is State.PARKED


@pytest.mark.parametrize(("word", "ends_in"), [("halt", State.PARKING), ("cut", State.CUT)])
def test_a_run_broken_off_on_its_way_down_is_brought_down_to_its_end(
    tmp_path: Path, word: str, ends_in: State
) -> None:
    plan = continuing(tmp_path)
    record = killed(tmp_path, str(plan), 9000, word)
    (halted,) = [e.body["to"] for e in read_entries(record, frozenset({Kind.STATE}))][1:]
    assert halted == ends_in and not verify(record).closed

    rehearsal = resume_rehearsal(load_plan(plan), record, gap_s=30.0)

    assert rehearsal.outcome.state is State.PARKED and verify(record).closed
    states = [e.body["to"] for e in read_entries(record, frozenset({Kind.STATE}))]
    assert states[2:] == [State.INTERRUPTED, ends_in, State.PARKED]
    assert rehearsal.scene.source.output_percent == 0.0
    resumed_s = [e.when_s for e in read_entries(record, frozenset({Kind.INTERRUPTION}))][-1]
    told = [e.body for e in read_entries(record, frozenset({Kind.ACTION})) if e.when_s > resumed_s]
    assert not any(body.get("on") for body in told)


def test_a_run_that_today_s_program_would_have_led_otherwise_is_parked(left: Path) -> None:
    plan, record = left.with_name("plan.toml"), left
    run = load_plan(plan)
    other = parse_plan(
        run.texts.plan.replace("ramp_k_per_min = 2.0", "ramp_k_per_min = 1.5", 1),
        run.texts.bench,
        run.texts.register,
    )
    rehearsal = resume_rehearsal(other, record, gap_s=30.0)
    assert rehearsal.outcome.state is State.PARKED and verify(record).closed
    assert rehearsal.scene.source.output_percent == 0.0
    (gap,) = read_entries(record, frozenset({Kind.INTERRUPTION}))
    assert "not the one that began the run" in gap.body["reason"] and "recorded was" in gap.body["reason"]
    told = [e.body for e in read_entries(record, frozenset({Kind.ACTION})) if e.when_s > gap.when_s]
    assert told[0]["do"] in ("measure", "look_at_source")
    assert not any(body.get("on") for body in told)


def test_a_program_that_breaks_on_what_was_recorded_parks_as_well(
    left: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan, record = left.with_name("plan.toml"), left

    def other_program(script: object) -> Procedure:
        yield Mark("run_started", {"points": len(load_plan(plan).plan.points) + 2})
        raise KeyError("a field that the older program did not write")

    monkeypatch.setattr("daemon.night.calibration_run", other_program)
    assert resume_rehearsal(load_plan(plan), record, gap_s=30.0).outcome.state is State.PARKED
    (gap,) = read_entries(record, frozenset({Kind.INTERRUPTION}))
    assert "a field that the older program did not write" in gap.body["reason"]


def test_a_release_upon_a_release_only_starts_the_point_over_again() -> None:
    profile = find_profile("ascii-bath")
    assert profile is not None
    procedure = calibration_run(script_of(load_plan(EXAMPLES / "short.toml"), capabilities_of(profile)))
    assert next(procedure) == Mark("run_started", {"points": 3})
    assert isinstance(procedure.send(Done(0.0)), LookAtSource)
    for reason in ("released", "released again"):
        assert procedure.throw(Resoak(reason)) == Mark("starting_over", {"reason": reason})
    assert isinstance(procedure.send(Done(1.0)), LookAtSource)


def altered(record: Path) -> None:
    """Somebody, or a failing disk, changes an entry."""
    with closing(sqlite3.connect(record)) as connection:
        connection.execute("DROP TRIGGER entry_is_never_changed")
        connection.execute("UPDATE entry SET when_s = when_s + 1 WHERE seq = 8000")
        connection.commit()


def torn(record: Path) -> None:
    """The end of the file is not what was written to it."""
    with closing(sqlite3.connect(record)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    with record.open("r+b") as file:
        file.seek(int(0.97 * record.stat().st_size))
        file.write(os.urandom(8192))


@pytest.mark.parametrize("damage", [altered, torn])
def test_a_damaged_record_is_left_alone_and_the_source_parked_in_one_beside_it(
    tmp_path: Path, left: Path, damage: Callable[[Path], None]
) -> None:
    plan, record = left.with_name("plan.toml"), left
    damage(record)
    before = record.read_bytes()
    assert not verify(record).intact and "entry" in verify(record).problem

    rehearsal = resume_rehearsal(load_plan(plan), record, gap_s=30.0)

    outcome = rehearsal.outcome
    assert outcome.state is State.PARKED and outcome.record.name == "night-parked.record"
    assert record.read_bytes() == before
    assert verify(outcome.record).intact and verify(outcome.record).closed
    states = [e.body["to"] for e in read_entries(outcome.record, frozenset({Kind.STATE}))]
    assert states == [State.INTERRUPTED, State.PARKING, State.PARKED]
    (gap,) = read_entries(outcome.record, frozenset({Kind.INTERRUPTION}))
    assert "night.record is damaged" in gap.body["reason"]
    assert replay(outcome.record, load_plan(plan)).differences == ()
    assert write_report(outcome.record, tmp_path / "report").lines()


def test_whose_absence_forbids_to_go_on_does_not_forbid_to_park(left: Path) -> None:
    plan, record = left.with_name("plan.toml"), left
    outcome = resume_rehearsal(load_plan(plan), record, gap_s=30.0, forbidden="nobody is there").outcome
    assert outcome.state is State.PARKED
    (gap,) = read_entries(record, frozenset({Kind.INTERRUPTION}))
    assert gap.body["reason"] == "parked: nobody is there"


def test_a_file_that_does_not_tell_whose_record_it_is_may_be_this_bench_s(tmp_path: Path) -> None:
    name = "Tern Rock bath bench"
    (tmp_path / "empty.record").touch()
    assert newest_record(tmp_path, name) is None
    strange = tmp_path / "strange.record"
    strange.write_bytes(os.urandom(5000))
    assert newest_record(tmp_path, name) == strange
    with pytest.raises(RecordError, match="damaged or not a record"):
        if_open(strange)
