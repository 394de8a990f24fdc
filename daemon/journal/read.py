"""Reading a record back, and proving that nobody changed it."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from daemon.journal.entry import FIRST_LINK, FORMAT_VERSION, Entry, Kind, link
from daemon.journal.migrate import migrated

_DAMAGE = (sqlite3.DatabaseError, ValueError, TypeError, OverflowError, AttributeError)


class RecordError(Exception):
    """The file cannot be read as a record; the message is for the person at the bench."""


class NeverStarted(RecordError):
    """The record has no first entry: whoever made the file ended before anything was commanded."""


@dataclass(frozen=True, slots=True)
class Verification:
    """What a check of the chain found; `head` is the last good link as hexadecimal text.

    `closed_head` is the link of the entry that closed the run: what people signed later stands behind it,
    `signed` entries of it.
    """

    intact: bool
    entries: int
    head: str
    closed: bool
    problem: str = ""
    closed_head: str = ""
    signed: int = 0


def read_entries(path: Path, kinds: frozenset[Kind] | None = None, after: int = 0) -> Iterator[Entry]:
    """Entries behind number `after` in order (all, or some kinds), older formats as the present one has them.

    Raises RecordError.
    """
    where, values = "seq > ?", (after,)  # type: tuple[str, tuple[int | str, ...]]
    if kinds is not None:
        where += f" AND kind IN ({', '.join('?' * len(kinds))})"
        values += tuple(sorted(kinds))
    query = f"SELECT seq, kind, when_s, utc_s, body FROM entry WHERE {where} ORDER BY seq"
    with closing(_open(path)) as connection, _as_record_error(path):
        version = _version(connection)
        for seq, kind, when_s, utc_s, body in connection.execute(query, values):
            yield Entry(seq, kind, when_s, utc_s, migrated(kind, json.loads(body), version))


def read_opening(path: Path) -> Entry:
    """The entry that opened the run, with plan, bench and register as they were; raises RecordError."""
    for entry in read_entries(path, frozenset({Kind.OPENED})):
        return entry
    raise NeverStarted(f"{path}: the record has no opening entry, so it was never started")


def ended_early(path: Path) -> str:
    """Why the run itself ended before its plan was done; empty when it did not. Raises RecordError."""
    marks = (entry.body for entry in read_entries(path, frozenset({Kind.MILESTONE})))
    return next((str(body["reason"]) for body in marks if body["mark"] == "run_ended_early"), "")


def read_to_damage(path: Path) -> Iterator[Entry]:
    """Entries in order, as far as they can be read."""
    with suppress(RecordError):
        yield from read_entries(path)


def outer_links(path: Path) -> tuple[str, str]:
    """Links of the first and of the last entry: which run this is, and all that stands in it so far.

    They are read, not proved; raises RecordError.
    """
    with closing(_open(path)) as connection, _as_record_error(path):
        first, last = (
            connection.execute(f"SELECT link FROM entry ORDER BY seq {order} LIMIT 1").fetchone()
            for order in ("ASC", "DESC")
        )
        return bytes(first[0]).hex(), bytes(last[0]).hex()


def verify(path: Path) -> Verification:
    """Walk the chain from the first entry and stop at the first misfit; raises RecordError.

    A file that is damaged behind its beginning is walked up to the damage.
    """
    head, count, closed, signed = FIRST_LINK, 0, "", 0
    with closing(_open(path)) as connection:
        try:
            rows = connection.execute("SELECT seq, kind, when_s, utc_s, body, link FROM entry ORDER BY seq")
            for seq, kind, when_s, utc_s, body, stored in rows:
                problem = ""
                if seq != count + 1:
                    problem = f"entry {count + 1} is missing"
                elif link(head, seq, kind, when_s, utc_s, body) != stored:
                    problem = f"entry {seq} is not what was written"
                if problem:
                    return Verification(False, count, head.hex(), False, problem)
                head, count = stored, seq
                closed = stored.hex() if kind == Kind.CLOSED else closed
                signed += kind == Kind.REVIEW
        except _DAMAGE as error:
            if not count:
                raise RecordError(f"{path}: damaged or not a record ({error})") from error
            problem = f"the file is damaged at entry {count + 1} ({error})"
            return Verification(False, count, head.hex(), False, problem)
    return Verification(True, count, head.hex(), bool(closed), closed_head=closed, signed=signed)


class _as_record_error:
    """Turns what SQLite and JSON say of a broken file into a sentence."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if isinstance(error, _DAMAGE):
            raise RecordError(f"{self._path}: damaged or not a record ({error})") from error


def _open(path: Path) -> sqlite3.Connection:
    if not path.is_file():
        raise RecordError(f"{path}: there is no such record file")
    if not path.stat().st_size:
        raise NeverStarted(f"{path}: this file is empty, so no run was started in it")
    connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, check_same_thread=False)
    try:
        version = _version(connection)
    except sqlite3.DatabaseError as error:
        connection.close()
        raise RecordError(f"{path}: damaged or not a record ({error})") from error
    if not 1 <= version <= FORMAT_VERSION:
        connection.close()
        raise RecordError(f"{path}: {_foreign(version)}")
    return connection


def _version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _foreign(version: int) -> str:
    if version < 1:
        return "not a record: it does not say which record format it has"
    return (
        f"record format {version} was written by a newer program; this one reads formats 1 to "
        f"{FORMAT_VERSION}: update ohmvigil, or use the version that wrote it"
    )
