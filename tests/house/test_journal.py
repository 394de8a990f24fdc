"""The journal: chained, append-only, honest about what was changed."""

from __future__ import annotations

import asyncio
import sqlite3
import threading
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.journal import store
from daemon.journal.entry import Kind
from daemon.journal.journal import continued_journal, new_journal
from daemon.journal.read import RecordError, read_entries, verify
from daemon.journal.sinks import StorageFault
from drivers.clock import Clock
from simulators import virtual_time

START = datetime(2026, 1, 15, 17, 0, tzinfo=UTC)


def write(path: Path, count: int = 20) -> str:
    async def night() -> str:
        journal = new_journal(path, Clock(START), simulated=True)
        for number in range(count):
            journal.append(Kind.MILESTONE, {"mark": "x", "number": number, "by": "running"})
        journal.close()
        return journal.head

    return virtual_time.run(night())


def forge(path: Path, statement: str) -> None:
    with sqlite3.connect(path) as connection:
        connection.executescript("DROP TRIGGER entry_is_never_changed; DROP TRIGGER entry_is_never_deleted;")
        connection.execute(statement)
    connection.close()


def test_an_untouched_record_is_intact(tmp_path: Path) -> None:
    head = write(tmp_path / "r")
    found = verify(tmp_path / "r")
    assert found.intact and found.entries == 20 and found.head == head


@pytest.mark.parametrize(
    ("statement", "good"),
    [
        ("UPDATE entry SET body = replace(body, '7', '8') WHERE seq = 8", 7),
        ("UPDATE entry SET when_s = when_s + 1 WHERE seq = 5", 4),
        ("UPDATE entry SET kind = 'verdict' WHERE seq = 3", 2),
        ("DELETE FROM entry WHERE seq = 11", 10),
    ],
)
def test_a_changed_entry_is_named(tmp_path: Path, statement: str, good: int) -> None:
    write(tmp_path / "r")
    forge(tmp_path / "r", statement)
    found = verify(tmp_path / "r")
    assert not found.intact and found.entries == good and str(good + 1) in found.problem


def test_a_cut_off_end_shows_only_against_the_printed_head(tmp_path: Path) -> None:
    head = write(tmp_path / "r")
    forge(tmp_path / "r", "DELETE FROM entry WHERE seq > 15")
    found = verify(tmp_path / "r")
    assert found.intact and found.entries == 15 and found.head != head


def test_the_database_itself_refuses_changes(tmp_path: Path) -> None:
    write(tmp_path / "r")
    connection = sqlite3.connect(tmp_path / "r")
    for statement in ("UPDATE entry SET body = '{}'", "DELETE FROM entry"):
        with pytest.raises(sqlite3.IntegrityError, match="never"):
            connection.execute(statement)
    connection.close()


def test_the_first_bad_entry_of_a_file_with_a_damaged_end_is_told(tmp_path: Path) -> None:
    path = tmp_path / "r"
    write(path, 2000)
    whole = path.read_bytes()
    path.write_bytes(whole[:-8192] + b"\xff" * 8192)
    found = verify(path)
    assert not found.intact and 1000 < found.entries < 2000
    assert f"entry {found.entries + 1}" in found.problem


def test_a_file_that_lost_its_end_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "r"
    write(path, 2000)
    path.write_bytes(path.read_bytes()[:-8192])
    with pytest.raises(RecordError, match="damaged"):
        verify(path)


def test_an_old_record_is_never_overwritten(tmp_path: Path) -> None:
    write(tmp_path / "r")
    with pytest.raises(FileExistsError):
        write(tmp_path / "r")


def test_a_continued_record_is_one_chain(tmp_path: Path) -> None:
    write(tmp_path / "r")
    before = verify(tmp_path / "r")

    async def go_on() -> None:
        head = bytes.fromhex(before.head)
        journal = continued_journal(tmp_path / "r", Clock(START), before.entries, head, simulated=True)
        journal.append(Kind.INTERRUPTION, {"reason": "test"})
        journal.close()

    virtual_time.run(go_on())
    after = verify(tmp_path / "r")
    assert after.intact and after.entries == before.entries + 1


def test_in_real_time_an_entry_is_on_the_disk_once_it_is_committed(tmp_path: Path) -> None:
    async def night() -> int:
        journal = new_journal(tmp_path / "r", Clock(), simulated=False)
        for number in range(50):
            journal.append(Kind.MILESTONE, {"mark": "x", "number": number, "by": "running"})
        await journal.committed()
        seen = sum(1 for _ in read_entries(tmp_path / "r"))
        journal.close()
        return seen

    assert asyncio.run(night()) == 50


def test_a_commit_that_takes_long_is_seen_while_it_lasts_and_told_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_rows, may_end = store.append, threading.Event()

    def append(connection: sqlite3.Connection, rows: Sequence[store.Row]) -> None:
        may_end.wait(10.0)
        write_rows(connection, rows)

    async def night() -> tuple[float, float | None, float | None]:
        journal = new_journal(tmp_path / "r", Clock(), simulated=False)
        journal.append(Kind.MILESTONE, {"mark": "x", "by": "running"})
        await asyncio.sleep(0.05)
        lasting_s = journal.commit_under_way_s()
        may_end.set()
        await journal.committed()
        told = journal.slowest_commit_s(), journal.slowest_commit_s()
        assert journal.commit_under_way_s() == 0.0
        journal.close()
        return lasting_s, *told

    monkeypatch.setattr(store, "append", append)
    lasting_s, slowest_s, again_s = asyncio.run(night())
    assert slowest_s is not None and again_s == 0.0
    assert 0.0 < lasting_s <= slowest_s < 10.0


def test_on_a_full_disk_the_reserve_takes_the_record_of_the_way_down(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, write_rows = tmp_path / "r", store.append
    reserve = tmp_path / "r.reserve"

    def append(connection: sqlite3.Connection, rows: Sequence[store.Row]) -> None:
        if rows[-1][0] > 10 and reserve.exists():
            raise sqlite3.OperationalError("database or disk is full")
        write_rows(connection, rows)

    async def night() -> str:
        journal = new_journal(path, Clock(), simulated=False)
        for number in range(20):
            journal.append(Kind.MILESTONE, {"mark": "x", "number": number, "by": "running"})
        with pytest.raises(StorageFault, match="reserve"):
            await journal.committed()
        fault = journal.fault
        journal.close()
        return fault

    monkeypatch.setattr(store, "append", append)
    assert "disk is full" in asyncio.run(night())
    assert verify(path).entries == 20 and not reserve.exists()


def test_the_reserve_is_real_room_and_is_gone_after_a_run_without_trouble(tmp_path: Path) -> None:
    async def night() -> int:
        journal = new_journal(tmp_path / "r", Clock(), simulated=False)
        blocks = (tmp_path / "r.reserve").stat().st_blocks
        journal.close()
        return blocks

    assert asyncio.run(night()) * 512 >= store.RESERVE_BYTES
    assert sorted(file.name for file in tmp_path.iterdir()) == ["r"]


def test_a_number_that_is_no_number_is_never_written(tmp_path: Path) -> None:
    async def night() -> None:
        journal = new_journal(tmp_path / "r", Clock(START), simulated=True)
        try:
            journal.append(Kind.MILESTONE, {"value": float("nan")})
        finally:
            journal.close()

    with pytest.raises(ValueError):
        virtual_time.run(night())


@settings(max_examples=60, deadline=None)
@given(data=st.binary(max_size=400))
def test_arbitrary_bytes_are_refused_as_a_record(
    data: bytes, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("fuzz") / "r"
    path.write_bytes(data)
    with pytest.raises(RecordError):
        verify(path)
        list(read_entries(path))
