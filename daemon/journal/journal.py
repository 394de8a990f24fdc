"""The journal of a run: everything is written here before anything acts on it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from daemon.journal import store
from daemon.journal.entry import FIRST_LINK, Entry, Kind, encode, link
from daemon.journal.sinks import BATCH_ROWS, BatchSink, Sink, ThreadSink
from drivers.clock import Clock

Listener = Callable[[Entry], None]


class Journal:
    """Appends chained entries to one record file and tells its listeners of each.

    `stamped_s` is the time of the newest entry; what is decided by it can be decided again from the record.
    """

    def __init__(self, sink: Sink, clock: Clock, seq: int = 0, head: bytes = FIRST_LINK) -> None:
        self._sink = sink
        self._clock = clock
        self._seq = seq
        self._head = head
        self._listeners: list[Listener] = []
        self.stamped_s = 0.0

    @property
    def head(self) -> str:
        """The newest link of the chain as hexadecimal text."""
        return self._head.hex()

    @property
    def count(self) -> int:
        """Number of entries so far."""
        return self._seq

    @property
    def fault(self) -> str:
        """Why entries wait in memory instead of going to the disk; empty when all is well."""
        return self._sink.fault

    def slowest_commit_s(self) -> float | None:
        """The longest commit since last asked, one under way included; None: no disk to wait for."""
        return self._sink.slowest_commit_s()

    def commit_under_way_s(self) -> float:
        """For how long the present commit has lasted; 0 when there is none."""
        return self._sink.commit_under_way_s()

    def listen(self, listener: Listener) -> None:
        """Call `listener` with each entry from now on, after it was handed to the writer."""
        self._listeners.append(listener)

    def append(self, kind: Kind, body: Mapping[str, Any]) -> int:
        """Add an entry and return its number; does not wait for the disk."""
        self._seq += 1
        seq, when_s, utc_s = self._seq, self._clock.monotonic_s(), self._clock.utc_s()
        self.stamped_s = when_s
        text = encode(body)
        self._head = link(self._head, seq, kind, when_s, utc_s, text)
        self._sink.put((seq, str(kind), when_s, utc_s, text, self._head))
        for listener in self._listeners:
            listener(Entry(seq, kind, when_s, utc_s, body))
        return seq

    async def committed(self) -> None:
        """Return when everything so far is on the disk; raises StorageFault."""
        await self._sink.committed()

    def close(self) -> None:
        """Write the rest and fold the record into a single file."""
        self._sink.close()


def new_journal(path: Path, clock: Clock, *, simulated: bool, batch: int = BATCH_ROWS) -> Journal:
    """Journal for a new record file; raises FileExistsError, OSError. `batch`: rows, simulated only."""
    connection = store.create(path, synced=not simulated)
    if simulated:
        return Journal(BatchSink(connection, batch), clock)
    return Journal(ThreadSink(connection, store.set_aside(path)), clock)


def signed_journal(path: Path, clock: Clock, seq: int, head: bytes) -> Journal:
    """Journal for what people sign behind entry `seq` of a closed record, each entry at once on disk."""
    return Journal(BatchSink(store.reopen(path, synced=True), 1), clock, seq, head)


def continued_journal(path: Path, clock: Clock, seq: int, head: bytes, *, simulated: bool) -> Journal:
    """Journal that goes on behind entry `seq` of an existing record."""
    connection = store.reopen(path, synced=not simulated)
    sink: Sink = BatchSink(connection) if simulated else ThreadSink(connection, _reserve_if_any(path))
    return Journal(sink, clock, seq, head)


def _reserve_if_any(path: Path) -> Path | None:
    # A run that was broken off must be brought down on a full disk as well.
    try:
        return store.set_aside(path)
    except OSError:
        return None
