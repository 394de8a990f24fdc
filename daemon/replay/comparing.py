"""The journal of a replay: what today's program would write is held against what was written."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Any

from daemon.journal.entry import Entry, Kind, encode
from daemon.journal.journal import Journal
from daemon.journal.sinks import Nowhere, StorageFault
from daemon.replay.difference import CHANGED, MISSING, NEW, Difference, told, told_all
from daemon.replay.stand_ins import Desk, RecordedClock
from daemon.replay.tape import Tape

_SAID = frozenset({Kind.VERDICT, Kind.CLEARED, Kind.MILESTONE})
"""Kinds that say something without changing the way of the run: a difference in them ends nothing."""

_NAMES = {
    Kind.STATE: ("from", "to"),
    Kind.ACTION: ("do", "by"),
    Kind.VERDICT: ("guard", "channel"),
    Kind.CLEARED: ("guard", "channel"),
    Kind.MILESTONE: ("mark", "by"),
    Kind.OBSERVATION: ("of", "what"),
    Kind.OPERATOR: ("word", "who"),
}
"""What of an entry must agree for two to be the same decision, perhaps with another reason or figure."""

_CANNOT_WRITE = "the record cannot be written"


class BrokenOff(asyncio.CancelledError):
    """Here that night's writing was broken off: what was in hand stops as it did in the crash."""


class ComparingJournal(Journal):
    """Writes nothing; compares each entry with the tape and goes on with it.

    `differences` holds what was found; after one that parts the run, nothing is compared any more. What the
    record has not is kept in `own`.
    """

    def __init__(self, tape: Tape, clock: RecordedClock, desk: Desk, start_s: float) -> None:
        super().__init__(Nowhere(), clock)
        self._tape = tape
        self._at = clock
        self._desk = desk
        self._start_s = start_s
        self.differences: list[Difference] = []
        self.same: dict[str, int] = {}
        self.own: list[Entry] = []

    @property
    def parted(self) -> bool:
        """True when the run went another way: the record answers no further question."""
        return bool(self.differences) and self.differences[-1].parts

    @property
    def fault(self) -> str:
        """Nothing is written, so nothing fails."""
        return ""

    def append(self, kind: Kind, body: Mapping[str, Any]) -> int:
        """Compare with what comes next on the tape; returns the entry's number, the recorded one's if it is.

        Raises BrokenOff where a crash ended the record.
        """
        if self.parted:
            return self._keep(kind, body)
        if self._tape.broken_off:
            raise BrokenOff
        text = encode(body)
        if (entry := self._tape.next) is not None and _is(entry, kind, text):
            self.same[kind] = self.same.get(kind, 0) + 1
            return self._matched()
        return self._other(kind, body, text)

    async def committed(self) -> None:
        """The disk's part of that night: what the watch wrote meanwhile comes first; raises StorageFault."""
        while self._tape.watch_is_next and not self.parted:  # noqa: ASYNC110  the tape is moved, not an event
            await asyncio.sleep(0)
        entry = None if self.parted else self._tape.next
        if entry is not None and entry.kind == Kind.STATE and entry.body["cause"].startswith(_CANNOT_WRITE):
            raise StorageFault(entry.body["cause"])

    def missing(self) -> None:
        """The next recorded decision is not made today."""
        entry = self._tape.next
        assert entry is not None
        self._note(MISSING, entry.kind not in _SAID, told(entry.kind, entry.body), "nothing")
        if not self.parted:
            self._tape.take()

    def _matched(self) -> int:
        entry = self._tape.take()
        self._at.now_s, self._at.now_utc_s, self.stamped_s = entry.when_s, entry.utc_s, entry.when_s
        if entry.kind == Kind.ACTION:
            self._desk.asked_as = entry.seq
        return entry.seq

    def _other(self, kind: Kind, body: Mapping[str, Any], text: str) -> int:
        """Not what comes next: said differently, said later in the same breath, or another way."""
        for by in range(self._found(kind, text)):
            del by
            self.missing()
        entry = self._tape.next
        if entry is not None and _is(entry, kind, text):
            return self.append(kind, body)
        if entry is not None and kind != Kind.ACTION and _names(entry.kind, entry.body) == _names(kind, body):
            self._note(CHANGED, False, told(entry.kind, entry.body), told(kind, body))
            return self._matched()
        recorded = self._recorded()
        self._note(NEW if kind in _SAID else CHANGED, kind not in _SAID, recorded, told(kind, body))
        return self._keep(kind, body)

    def _keep(self, kind: Kind, body: Mapping[str, Any]) -> int:
        """An entry that the record has not, numbered on from where the tape stands."""
        self.stamped_s = self._at.monotonic_s()
        seq = self._tape.seq + 1 + len(self.own)
        entry = Entry(seq, kind, self.stamped_s, self._at.utc_s(), dict(body))
        self.own.append(entry)
        for listener in self._listeners:
            listener(entry)
        return seq

    def _found(self, kind: Kind, text: str) -> int:
        """How many recorded sayings stand before this very entry; 0 when it does not come at once."""
        by = 0
        while (entry := self._tape.look_ahead(by)) is not None:
            if _is(entry, kind, text):
                return by
            if entry.kind not in _SAID:
                break
            by += 1
        return 0

    def _recorded(self) -> str:
        """What the record decided instead, which may come only after more readings."""
        following, entry = self._tape.coming(), self._tape.next
        if not following:
            return "no further decision"
        told_then = told(following[0].kind, following[0].body)
        return told_then if entry is not None and entry.seq == following[0].seq else f"later {told_then}"

    def _note(self, what: str, parts: bool, recorded: str, now: str) -> None:
        # At a decision that has no entry of its own the time is that of the newest entry before it.
        entry = self._tape.next
        own = entry is not None and what != NEW and entry.kind != Kind.OBSERVATION
        when_s, utc_s = (entry.when_s, entry.utc_s) if own and entry else (self._at.now_s, self._at.now_utc_s)
        seq = self._tape.seq + 1
        before = told_all(self._tape.last, self._start_s)
        after = told_all(self._tape.coming(), self._start_s)
        self.differences.append(
            Difference(seq, what, parts, when_s - self._start_s, utc_s, recorded, now, before, after)
        )


def _is(entry: Entry, kind: Kind, text: str) -> bool:
    return entry.kind == kind and encode(entry.body) == text


def _names(kind: str, body: Mapping[str, Any]) -> tuple[object, ...]:
    return (kind, *(body.get(name) for name in _NAMES.get(Kind(kind), ())))
