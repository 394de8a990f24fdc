"""Two ways to get rows onto the disk: in batches on the spot, or by one writer thread."""

from __future__ import annotations

import asyncio
import queue
import sqlite3
import threading
from contextlib import suppress
from pathlib import Path
from typing import Protocol

from daemon.journal import store
from daemon.journal.store import Row

BATCH_ROWS = 400


_ON_RESERVE = "the disk is full: the record of the way down is written into its reserve"


class StorageFault(OSError):
    """The record cannot be written; the message says why."""


class Sink(Protocol):
    """Where rows go, in order."""

    @property
    def fault(self) -> str:
        """Why rows wait in memory; empty when they do not."""

    def put(self, row: Row) -> None:
        """Take a row; never waits for the disk and never fails."""

    def slowest_commit_s(self) -> float | None:
        """The longest commit since last asked, one under way included; None: no disk to wait for."""

    def commit_under_way_s(self) -> float:
        """For how long the present commit has lasted; 0 when there is none."""

    async def committed(self) -> None:
        """Return when every row put so far is on the disk; raises StorageFault."""

    def close(self) -> None:
        """Write what is left and fold the file together."""


class BatchSink:
    """For simulated time: writes on the spot in batches, with nothing to wait for."""

    def __init__(self, connection: sqlite3.Connection, batch: int = BATCH_ROWS) -> None:
        self._connection = connection
        self._batch = batch
        self._rows: list[Row] = []
        self.fault = ""

    def put(self, row: Row) -> None:
        """Keep the row; write when the batch is full (the size makes the file repeatable)."""
        self._rows.append(row)
        if len(self._rows) >= self._batch:
            self._flush()

    def slowest_commit_s(self) -> None:
        """Simulated time does not pass while a batch is written."""
        return None

    def commit_under_way_s(self) -> float:
        """Never seen under way."""
        return 0.0

    async def committed(self) -> None:
        """Simulated nights have no power to lose: at once; raises StorageFault."""
        if self.fault:
            raise StorageFault(self.fault)

    def close(self) -> None:
        """Write what is left and fold the file together; raises StorageFault if anything was not written."""
        self._flush()
        if self.fault:
            raise _not_whole(self.fault, len(self._rows))
        store.close(self._connection)

    def _flush(self) -> None:
        # Rows that could not be written stay in memory and are tried again with the next ones.
        try:
            store.append(self._connection, self._rows)
            self._rows, self.fault = [], ""
        except sqlite3.Error as error:
            self.fault = f"the record cannot be written: {error}"


class Nowhere:
    """Keeps nothing: for what is only compared or watched as it goes by."""

    fault = ""

    def put(self, row: Row) -> None:
        """Forget it."""

    def slowest_commit_s(self) -> None:
        """There is no disk to wait for."""

    def commit_under_way_s(self) -> float:
        """Never one."""
        return 0.0

    async def committed(self) -> None:
        """At once."""

    def close(self) -> None:
        """Nothing to close."""


class ThreadSink:
    """For real time: one thread owns the connection and commits whatever has gathered.

    On a full disk the file `reserve` is given up, and its room takes the record of the way down; the fault
    stands from then on all the same, so that no run goes on.
    """

    def __init__(self, connection: sqlite3.Connection, reserve: Path | None = None) -> None:
        self._connection = connection
        self._queue: queue.SimpleQueue[Row | asyncio.Future[None] | None] = queue.SimpleQueue()
        self._loop = asyncio.get_running_loop()
        self._fault: StorageFault | None = None
        self._kept = 0
        self._slowest_s = 0.0
        self._begun_s: float | None = None
        self._reserve, self._reserve_used = reserve, False
        self._thread = threading.Thread(target=self._work, name="journal", daemon=True)
        self._thread.start()

    @property
    def fault(self) -> str:
        """What the last commit met; empty when it went well."""
        return str(self._fault) if self._fault is not None else ""

    def slowest_commit_s(self) -> float:
        """Of the writer thread, in seconds of the loop."""
        slowest_s, self._slowest_s = self._slowest_s, 0.0
        return max(slowest_s, self.commit_under_way_s())

    def commit_under_way_s(self) -> float:
        """Since the present commit began."""
        begun_s = self._begun_s
        return 0.0 if begun_s is None else self._loop.time() - begun_s

    def put(self, row: Row) -> None:
        """Hand the row to the writer thread."""
        self._queue.put(row)

    async def committed(self) -> None:
        """Wait for the commit of everything put so far; raises StorageFault."""
        future: asyncio.Future[None] = self._loop.create_future()
        self._queue.put(future)
        await future

    def close(self) -> None:
        """Stop the thread after its last commit; raises StorageFault if anything was not written."""
        self._queue.put(None)
        self._thread.join()
        if self._kept:
            raise _not_whole(str(self._fault), self._kept)
        store.close(self._connection)
        self._give_up_reserve()

    def _work(self) -> None:
        running = True
        kept: list[Row] = []
        while running:
            items = [self._queue.get()]
            while not self._queue.empty():
                items.append(self._queue.get())
            kept += [item for item in items if isinstance(item, tuple)]
            self._begun_s = self._loop.time()
            kept = self._commit(kept)
            self._slowest_s = max(self._slowest_s, self.commit_under_way_s())
            self._begun_s = None
            self._kept = len(kept)
            for item in items:
                if isinstance(item, asyncio.Future):
                    self._loop.call_soon_threadsafe(_settle, item, self._fault)
            running = None not in items

    def _commit(self, rows: list[Row]) -> list[Row]:
        # Rows that could not be written stay in memory and are tried again with the next ones.
        try:
            if rows:
                store.append(self._connection, rows)
            self._fault = StorageFault(_ON_RESERVE) if self._reserve_used else None
            return []
        except sqlite3.Error as error:
            if self._give_up_reserve():
                self._reserve_used = True
                return self._commit(rows)
            self._fault = StorageFault(f"the record cannot be written: {error}")
            return rows

    def _give_up_reserve(self) -> bool:
        """Whether there was a reserve; there is none afterwards."""
        reserve, self._reserve = self._reserve, None
        if reserve is None:
            return False
        with suppress(OSError):
            reserve.unlink()
        return True


def _not_whole(fault: str, rows: int) -> StorageFault:
    return StorageFault(
        f"{fault}; the newest {rows} entries are not in it. What is in it stays readable: verify says how far"
    )


def _settle(future: asyncio.Future[None], fault: StorageFault | None) -> None:
    if future.done():
        return
    if fault is None:
        future.set_result(None)
    else:
        future.set_exception(fault)
