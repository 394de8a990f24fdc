"""What waits for the broker: all that counts in one SQLite file, the newest live readings in memory.

Live readings are kept out of the file on purpose: a reading that is superseded within a second is not
worth a write to the disk, and after a restart it would be stale.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from daemon.telemetry.topics import Message

_SCHEMA = """
CREATE TABLE IF NOT EXISTS outbox (
    id INTEGER PRIMARY KEY AUTOINCREMENT, topic TEXT NOT NULL, payload TEXT NOT NULL,
    qos INTEGER NOT NULL, retain INTEGER NOT NULL
);
CREATE TABLE IF NOT EXISTS retained (topic TEXT PRIMARY KEY, payload TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS connection (number INTEGER NOT NULL);
INSERT INTO connection SELECT 0 WHERE NOT EXISTS (SELECT * FROM connection);
"""


class OutboxError(Exception):
    """The outbox file cannot be used; the message is for the person at the bench."""


@dataclass(frozen=True, slots=True)
class Waiting:
    """A message and its number in the file (0 for a live one)."""

    id: int
    message: Message


class Outbox:
    """One bench's outbox; holds at most `most` messages, and then loses the oldest and counts them."""

    def __init__(self, path: Path, most: int = 100_000) -> None:
        """Open or make the file; raises OutboxError."""
        self._most = most
        self._live: dict[str, Message] = {}
        self.lost = 0
        self._connection = _open(path)
        self._depth: int = self._connection.execute("SELECT count(*) FROM outbox").fetchone()[0]

    @property
    def depth(self) -> int:
        """Number of messages that wait."""
        return self._depth + len(self._live)

    def put(self, messages: Sequence[Message]) -> None:
        """Take messages, in one transaction; raises sqlite3.Error with nothing half taken."""
        kept = [m for m in messages if not m.live]
        if kept:
            with self._connection:
                self._insert(kept)
                self._connection.executemany(
                    "INSERT INTO retained VALUES (?, ?) "
                    "ON CONFLICT (topic) DO UPDATE SET payload = excluded.payload",
                    [(m.topic, m.payload) for m in kept if m.retain],
                )
                self._keep_within_bounds()
            self._count()
        for message in messages:
            if message.live:
                self._live.pop(message.topic, None)
                self._live[message.topic] = message

    def first(self, count: int) -> list[Waiting]:
        """The oldest messages, at most `count`; live ones come after all others."""
        rows = self._connection.execute(
            "SELECT id, topic, payload, qos, retain FROM outbox ORDER BY id LIMIT ?", (count,)
        ).fetchall()
        waiting = [
            Waiting(id_, Message(topic, text, qos, bool(keep))) for id_, topic, text, qos, keep in rows
        ]
        live = list(self._live.values())[: count - len(waiting)]
        return waiting + [Waiting(0, message) for message in live]

    def sent(self, waiting: Sequence[Waiting]) -> None:
        """Forget messages that the broker has confirmed; raises sqlite3.Error."""
        ids = [(one.id,) for one in waiting if one.id]
        if ids:
            with self._connection:
                self._connection.executemany("DELETE FROM outbox WHERE id = ?", ids)
            self._count()
        for one in waiting:
            if self._live.get(one.message.topic) is one.message:
                del self._live[one.message.topic]

    def retained_again(self) -> None:
        """Queue the newest retained message of each topic once more, for a broker that has forgotten it."""
        with self._connection:
            self._connection.execute(
                "INSERT INTO outbox (topic, payload, qos, retain) SELECT topic, payload, 1, 1 FROM retained "
                "WHERE topic NOT IN (SELECT topic FROM outbox)"
            )
        self._count()

    def begin_run(self) -> None:
        """Queue the removal of retained messages of earlier runs: an empty payload, as MQTT defines it."""
        rows = self._connection.execute("SELECT topic FROM retained").fetchall()
        with self._connection:
            self._insert([Message(topic, "", retain=True) for (topic,) in rows])
            self._connection.execute("DELETE FROM retained")
        self._count()

    def next_connection(self) -> int:
        """Counts connections over all restarts, from 1."""
        with self._connection:
            self._connection.execute("UPDATE connection SET number = number + 1")
        number: int = self._connection.execute("SELECT number FROM connection").fetchone()[0]
        return number

    def close(self) -> None:
        """Leave the file; what waits is sent after the next start."""
        self._connection.close()

    def _insert(self, messages: Sequence[Message]) -> None:
        self._connection.executemany(
            "INSERT INTO outbox (topic, payload, qos, retain) VALUES (?, ?, ?, ?)",
            [(m.topic, m.payload, m.qos, m.retain) for m in messages],
        )

    def _keep_within_bounds(self) -> None:
        cursor = self._connection.execute(
            "DELETE FROM outbox WHERE id <= (SELECT id FROM outbox ORDER BY id DESC LIMIT 1 OFFSET ?)",
            (self._most,),
        )
        self.lost += cursor.rowcount

    def _count(self) -> None:
        self._depth = self._connection.execute("SELECT count(*) FROM outbox").fetchone()[0]


def _open(path: Path) -> sqlite3.Connection:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # Made in the caller's thread so that a fault shows before the run, used by the telemetry thread.
        connection = sqlite3.connect(path, timeout=1.0, check_same_thread=False)
    except (OSError, sqlite3.Error) as error:
        raise OutboxError(f"{path}: the outbox cannot be opened ({error})") from error
    try:
        # One owner: two daemons on one outbox would send everything twice.
        connection.execute("PRAGMA locking_mode = EXCLUSIVE")
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.executescript(_SCHEMA)
    except sqlite3.OperationalError as error:
        connection.close()
        raise OutboxError(
            f"{path}: the outbox cannot be used ({error}); is another ohmvigil sending for this bench?"
        ) from error
    except sqlite3.DatabaseError as error:
        connection.close()
        raise OutboxError(f"{path}: not an outbox or damaged ({error}); move the file away") from error
    return connection
