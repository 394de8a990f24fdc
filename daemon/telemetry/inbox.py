"""The door between the run and telemetry: the run only leaves an entry here and goes on at once."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from itertools import count
from operator import itemgetter

from daemon.journal.entry import Entry
from daemon.telemetry.messages import live_key, worth_telling

LIVE_INTERVAL_S = 1.0
"""Live readings of one topic are told at most this often, by the record's own time."""


class Inbox:
    """Entries on their way to the telemetry thread: at most `most` that count, the newest of live ones."""

    def __init__(self, wake: Callable[[], None], most: int = 50_000) -> None:
        """`wake` is called, from the run's thread, when there is something after there was nothing."""
        self._wake = wake
        self._lock = threading.Lock()
        self._kept: deque[tuple[int, Entry]] = deque()
        self._arrivals = count()
        self._most = most
        self._live: dict[str, tuple[int, Entry]] = {}
        self._told_s: dict[str, float] = {}
        self._awake = False
        self.lost = 0

    def put(self, entry: Entry) -> None:
        """Take an entry: no disk, no network, no waiting; the oldest is lost when nobody takes them."""
        if not worth_telling(entry):
            return
        key = live_key(entry)
        if key and self._too_soon(key, entry.when_s):
            return
        with self._lock:
            arrived = (next(self._arrivals), entry)
            if key:
                self._live[key] = arrived
            else:
                self._kept.append(arrived)
            if len(self._kept) > self._most:
                self._kept.popleft()
                self.lost += 1
            wake, self._awake = not self._awake, True
        if wake:
            self._wake()

    def take(self) -> list[Entry]:
        """Everything there is, in the order of arrival."""
        with self._lock:
            arrived = [*self._kept, *self._live.values()]
            self._kept.clear()
            self._live.clear()
            self._awake = False
        return [entry for _, entry in sorted(arrived, key=itemgetter(0))]

    def _too_soon(self, key: str, when_s: float) -> bool:
        # After a restart of the machine the record's time may begin again at a lower value.
        if 0.0 <= when_s - self._told_s.get(key, float("-inf")) < LIVE_INTERVAL_S:
            return True
        self._told_s[key] = when_s
        return False
