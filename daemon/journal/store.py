"""The record's file: one SQLite database, append-only by triggers."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from daemon.journal.entry import FORMAT_VERSION

Row = tuple[int, str, float, float, str, bytes]
"""seq, kind, when_s, utc_s, body text, link."""

RESERVE_BYTES = 2**20
"""Room for about 200 commits of a few readings each, as tried on a small file system."""

_SCHEMA = f"""
PRAGMA user_version = {FORMAT_VERSION};
CREATE TABLE entry (
    seq INTEGER PRIMARY KEY, kind TEXT NOT NULL, when_s REAL NOT NULL, utc_s REAL NOT NULL,
    body TEXT NOT NULL, link BLOB NOT NULL
);
CREATE TRIGGER entry_is_never_changed BEFORE UPDATE ON entry
    BEGIN SELECT RAISE(ABORT, 'a record is never changed'); END;
CREATE TRIGGER entry_is_never_deleted BEFORE DELETE ON entry
    BEGIN SELECT RAISE(ABORT, 'a record is never deleted'); END;
"""


def create(path: Path, *, synced: bool) -> sqlite3.Connection:
    """Make a new record file; raises FileExistsError rather than touch an old one, OSError."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb"):
        pass
    try:
        connection = _connect(path, synced=synced)
        connection.executescript(_SCHEMA)
    except sqlite3.Error as error:
        raise _as_os_error(path, error) from error
    return connection


def parked_beside(record: Path) -> Path:
    """The record of bringing down a run whose own record is damaged: a name that is not taken."""
    path, number = record.with_name(f"{record.stem}-parked.record"), 1
    while path.exists():
        number += 1
        path = record.with_name(f"{record.stem}-parked-{number}.record")
    return path


def set_aside(path: Path) -> Path:
    """Keep room beside the record for its end, should the disk fill up; raises OSError when there is none."""
    reserve = path.with_name(f"{path.name}.reserve")
    reserve.write_bytes(bytes(RESERVE_BYTES))
    return reserve


def reopen(path: Path, *, synced: bool) -> sqlite3.Connection:
    """Open an existing record for appending; raises OSError."""
    try:
        return _connect(path, synced=synced)
    except sqlite3.Error as error:
        raise _as_os_error(path, error) from error


def _as_os_error(path: Path, error: sqlite3.Error) -> OSError:
    return OSError(f"{path}: the record cannot be written ({error}): make room, or look after the disk")


def _connect(path: Path, *, synced: bool) -> sqlite3.Connection:
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    connection.execute("PRAGMA journal_mode = WAL")
    # FULL survives a power cut; a simulated night has no power to lose.
    connection.execute(f"PRAGMA synchronous = {'FULL' if synced else 'OFF'}")
    return connection


def append(connection: sqlite3.Connection, rows: Sequence[Row]) -> None:
    """Write rows in one transaction; raises sqlite3.Error with nothing half written."""
    connection.execute("BEGIN")
    try:
        connection.executemany("INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?)", rows)
        connection.execute("COMMIT")
    except sqlite3.Error:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def close(connection: sqlite3.Connection) -> None:
    """Fold the write-ahead log back, so that the record is a single file.

    While somebody else reads the record, SQLite will not put the log away: it stays beside it, empty. On
    a full disk it stays as it is, and is read from there.
    """
    with suppress(sqlite3.OperationalError):
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.execute("PRAGMA journal_mode = DELETE")
    connection.close()
