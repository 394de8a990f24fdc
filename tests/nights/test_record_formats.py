"""Records of every format there was stay readable, and nobody writes into an old one to read it."""

from __future__ import annotations

import hashlib
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.journal.entry import FORMAT_VERSION, encode
from daemon.journal.migrate import migrated
from daemon.journal.read import RecordError, read_entries, verify
from daemon.observations import Failed, from_body
from daemon.replay.changed import recorded_plan
from daemon.replay.replay import replay
from tests.nights.replayed import brief_night, recorded

KEPT = Path(__file__).parent / "kept"
SAMPLES = sorted(KEPT.glob("format-*.record"))


def with_version(record: Path, new: Path, version: int) -> Path:
    """A copy that says it has another format."""
    shutil.copy(record, new)
    with closing(sqlite3.connect(new)) as connection:
        connection.execute(f"PRAGMA user_version = {version}")
    return new


def test_a_record_of_every_format_is_kept() -> None:
    assert [path.stem for path in SAMPLES] == [f"format-{n}" for n in range(1, FORMAT_VERSION + 1)]


def test_a_new_record_has_the_newest_format(tmp_path: Path) -> None:
    record = recorded(tmp_path / "night.record", brief_night(), words=[(30.0, "cut", "ks")])
    with closing(sqlite3.connect(record)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (FORMAT_VERSION,)


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_every_format_is_read_verified_and_replayed_without_touching_the_file(sample: Path) -> None:
    before = hashlib.sha256(sample.read_bytes()).hexdigest()
    assert verify(sample).intact and verify(sample).entries == 260
    seen = [from_body(entry.body) for entry in read_entries(sample) if entry.kind == "observation"]
    assert sum(isinstance(one, Failed) for one in seen) >= 5
    found = replay(sample, recorded_plan(sample))
    assert found.differences == ()  # what an old record could not say makes no difference today
    assert found.decisions > 20 and found.lasted_s == pytest.approx(128.17, abs=0.01)
    assert hashlib.sha256(sample.read_bytes()).hexdigest() == before


def test_an_old_record_did_not_look_how_the_computer_was_fed() -> None:
    old = {"of": 0, "what": "machine", "at": 60.0, "late_s": 0.0, "storage": ""}
    fed = {"on_battery": None, "charge_percent": None}
    assert migrated("observation", old, 2) == {**old, **fed, "commit_s": None}
    new = {**old, "on_battery": True, "charge_percent": 71.0, "commit_s": None}
    assert encode(migrated("observation", new, 2)) == encode(new)


def test_an_old_record_did_not_measure_how_long_it_took_to_write() -> None:
    old = {"of": 0, "what": "machine", "at": 60.0, "late_s": 0.0, "storage": "", "on_battery": None}
    assert migrated("observation", old, 3) == {**old, "commit_s": None}
    new = {**old, "commit_s": 0.7}
    assert encode(migrated("observation", new, 3)) == encode(new)


def test_an_old_failure_has_no_kind_and_a_new_one_keeps_its_own() -> None:
    old = {"of": 0, "what": "failed", "at": 1.0, "role": "source", "reason": "no answer"}
    assert migrated("observation", old, 1) == {**old, "error": ""} and "error" not in old
    new = {**old, "error": "NoReply"}
    assert encode(migrated("observation", new, 1)) == encode(new)


def test_both_kept_formats_tell_of_the_same_night() -> None:
    old, new = (
        [(e.seq, e.when_s, e.body | {"error": "", "format": 0}) for e in read_entries(sample)]
        for sample in (KEPT / "format-1.record", KEPT / "format-2.record")
    )
    assert old == new


@pytest.mark.parametrize(("version", "says"), [(FORMAT_VERSION + 1, "newer program"), (0, "not a record")])
def test_a_format_from_elsewhere_is_refused_in_a_sentence(
    version: int, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = with_version(SAMPLES[-1], tmp_path / "night.record", version)
    with pytest.raises(RecordError, match=says):
        list(read_entries(record))
    assert main(["replay", str(record)]) == 2
    assert says in capsys.readouterr().err
