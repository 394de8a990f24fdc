"""The live view of a run in the terminal knows how far the night is, whatever the clock began at."""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from daemon.cli.live import LiveView
from daemon.journal.entry import Entry, Kind
from daemon.journal.read import read_entries, read_opening
from daemon.night import recorded_plan_texts
from daemon.timetable import Timetable, forecast
from plans.loading import parse_plan
from tests.nights.rehearsed import rehearsed

UP_S = 86_400.0


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("live") / "night.record"
    rehearsed("short.toml", path)
    return path


def planned(record: Path) -> Timetable:
    return forecast(parse_plan(*recorded_plan_texts(record)))


def on_a_computer_that_has_run_for_a_day(record: Path) -> Iterator[Entry]:
    return (replace(entry, when_s=entry.when_s + UP_S) for entry in read_entries(record))


def test_the_elapsed_time_is_the_runs_own(record: Path) -> None:
    view = LiveView(planned(record), quiet=True)
    for entry in on_a_computer_that_has_run_for_a_day(record):
        view(entry)
    last = max(entry.utc_s for entry in read_entries(record))
    assert view.now_s == pytest.approx(last - read_opening(record).utc_s)


def test_a_resumed_run_counts_from_its_first_start(record: Path) -> None:
    begun_utc_s = read_opening(record).utc_s
    view = LiveView(planned(record), begun_utc_s=begun_utc_s, quiet=True)
    late = [entry for entry in on_a_computer_that_has_run_for_a_day(record) if entry.seq > 10_000]
    view(late[0])
    assert view.now_s == pytest.approx(late[0].utc_s - begun_utc_s)


def test_a_point_that_begins_late_moves_the_end(record: Path) -> None:
    timetable = planned(record)
    view = LiveView(timetable, quiet=True)
    ends = []
    for entry in on_a_computer_that_has_run_for_a_day(record):
        late = replace(entry, utc_s=entry.utc_s + (3600.0 if entry.seq > 5_000 else 0.0))
        view(late)
        if entry.kind == Kind.MILESTONE and entry.body["mark"] == "arrived":
            ends.append(view.end_s)
    assert ends[-1] - ends[0] == pytest.approx(3600.0, rel=0.3)


def test_a_night_goes_on_when_its_terminal_is_gone(record: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    with io.TextIOWrapper(io.FileIO(writer, "w"), write_through=True) as nobody_reads:
        with pytest.raises(BrokenPipeError):
            nobody_reads.write("is anybody there?")
        monkeypatch.setattr("sys.stderr", nobody_reads)
        with LiveView(planned(record), quiet=False) as view:
            for entry in read_entries(record):
                view(entry)
    assert view.now_s > 3600.0
