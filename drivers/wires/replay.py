"""A wire that answers from a transcript, the faults included."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence

from drivers.errors import LinkLost
from drivers.link_events import Event, Recorded
from drivers.wires.wire import Listener

_QUESTIONS = (Event.SENT, Event.HALT)
_ANSWERS = (Event.CAME, Event.STRAY)
_OPENINGS = (Event.OPEN, Event.LOST)


class ReplayWire:
    """Gives the recorded answers of one link at their recorded delays.

    A question that was not recorded at this place is refused: the connection counts as lost.
    """

    fresh_on_reopen = True

    def __init__(self, transcript: Sequence[Recorded]) -> None:
        self._events = transcript
        self._at = 0
        self._listener: Listener | None = None

    async def open(self, listener: Listener) -> None:
        self._loop = asyncio.get_running_loop()
        event = self._next(_OPENINGS)
        if event is None or event[2] is Event.LOST:
            raise LinkLost(event[4] if event else "the transcript has no further connection")
        self._listener = listener

    def write(self, data: bytes, reply_within_s: float) -> None:
        event = self._next(_QUESTIONS)
        if event is None or event[3] != data:
            recorded = repr(event[3]) if event else "the end of the transcript"
            raise LinkLost(f"{data!r} was not recorded here, but {recorded}")
        self._schedule(event[0])

    def waiting(self) -> bool:
        return False

    def close(self) -> None:
        self._listener = None

    def _next(self, kinds: tuple[Event, ...]) -> Recorded | None:
        for at in range(self._at, len(self._events)):
            if self._events[at][2] in kinds:
                self._at = at + 1
                return self._events[at]
        return None

    def _schedule(self, asked_s: float) -> None:
        """Everything recorded up to the next question or opening comes by itself."""
        while self._at < len(self._events) and self._events[self._at][2] not in (*_QUESTIONS, Event.OPEN):
            when_s, _, kind, data, note = self._events[self._at]
            if kind in _ANSWERS:
                self._loop.call_later(when_s - asked_s, self._deliver, data)
            elif kind is Event.LOST:
                self._loop.call_later(when_s - asked_s, self._lose, note)
            self._at += 1

    def _deliver(self, data: bytes) -> None:
        if self._listener is not None and data:
            self._listener.bytes_came(data)

    def _lose(self, reason: str) -> None:
        listener, self._listener = self._listener, None
        if listener is not None:
            listener.wire_lost(reason)
