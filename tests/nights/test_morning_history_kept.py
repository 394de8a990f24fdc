"""A folder of many nights opens at once, and what was kept of them never says anything else than they do."""

from __future__ import annotations

import json
import shutil
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

import daemon.history.kept as kept
from daemon.cli import main
from daemon.history.kept import FILE
from daemon.history.past import Past, runs_in
from daemon.program import this_program
from daemon.review.acts import amend
from tests.nights.morning import EIGHT_OCLOCK, KEEPER
from tests.nights.rehearsed import rehearsed
from tests.nights.report_nights import told_again

_DAY_S = 86400.0
_PROBE = "TR-IPRT-11"


@pytest.fixture(scope="module")
def nights(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("nights")
    rehearsed("short.toml", folder / "0.record")
    for day in (1, 2):
        told_again(folder / "0.record", folder / f"{day}.record", lambda e: [(e.kind, e.body)], day * _DAY_S)
    runs_in(folder, _PROBE)
    return folder


@pytest.fixture
def folder(nights: Path, tmp_path: Path) -> Path:
    """With the file of what was kept, times of change and all."""
    return Path(shutil.copytree(nights, tmp_path / "records", copy_function=shutil.copy2))


@pytest.fixture
def evaluated(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Which records are evaluated from their readings, in order."""
    names: list[str] = []
    real = kept.calibrate
    monkeypatch.setattr(kept, "calibrate", lambda record: (names.append(record.name), real(record))[1])
    return names


def _history(folder: Path) -> Past:
    return runs_in(folder, _PROBE)


def test_whoever_waits_for_many_records_is_told_how_far_it_is(folder: Path) -> None:
    (folder / FILE).unlink()
    told: list[int] = []
    runs_in(folder, _PROBE, told.append)
    assert told == [1, 2, 3]


def test_nothing_is_evaluated_twice_and_every_digit_is_the_same(folder: Path, evaluated: list[str]) -> None:
    again = _history(folder)
    assert evaluated == [] and again.runs == 3
    (folder / FILE).unlink()
    assert _history(folder) == again
    assert evaluated == ["0.record", "1.record", "2.record"]


def test_a_record_that_was_signed_since_is_evaluated_again(folder: Path, evaluated: list[str]) -> None:
    amend(folder / "1.record", EIGHT_OCLOCK, KEEPER, _PROBE, "the label was misread", "seen at unpacking")
    _history(folder)
    _history(folder)
    assert evaluated == ["1.record"]


def test_a_record_that_was_tampered_with_does_not_count(folder: Path) -> None:
    with sqlite3.connect(folder / "1.record") as record:
        record.execute("DROP TRIGGER entry_is_never_changed")
        record.execute("UPDATE entry SET when_s = when_s + 1 WHERE seq = 500")
    past = _history(folder)
    assert past.runs == 2
    assert "1.record: entry 500 is not what was written" in past.unread[0].reason


def test_another_program_finds_its_own_results(
    folder: Path, evaluated: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    other = replace(this_program(), libraries=(("numpy", "another version"),))
    monkeypatch.setattr(kept, "this_program", lambda: other)
    _history(folder)
    assert len(evaluated) == 3


def _edited(text: str) -> str:
    document = json.loads(text)
    (visit,) = [v for v in document["records"]["1.record"]["visits"] if v["serial"] == _PROBE]
    visit["r0_after_ohm"] += 0.01
    return json.dumps(document)


@pytest.mark.parametrize(
    "spoilt",
    [
        _edited,
        lambda text: text[: len(text) // 2],
        lambda _: "[]",
        lambda _: '{"records": {"1.record": {"stamp": 1, "visits": [], "sum": ""}, "2.record": null}}',
        lambda text: text.replace("0.record", "9.record").replace("1.record", "0.record"),
    ],
    ids=["edited", "torn", "no document", "nonsense", "of another record"],
)
def test_what_is_spoilt_is_never_believed(folder: Path, spoilt: object) -> None:
    truth = _history(folder)
    file = folder / FILE
    file.write_text(spoilt(file.read_text("utf-8")), "utf-8")  # type: ignore[operator]
    assert _history(folder) == truth


def test_a_copy_of_a_run_counts_once(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copy(folder / "1.record", folder / "copy of 1.record")
    main(["history", _PROBE, "--records", str(folder), "--simulated"])
    assert f"{_PROBE}: 3 runs" in capsys.readouterr().out
