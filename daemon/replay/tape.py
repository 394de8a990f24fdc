"""A record as a tape: the next entry, what follows it, and where it has come to."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator

from daemon.journal.entry import Entry, Kind

CONTEXT = 3
_INPUTS = (Kind.OBSERVATION, Kind.OPERATOR)


class Tape:
    """Recorded entries, read as they are needed; `last` keeps the newest few that were no reading."""

    def __init__(self, entries: Iterable[Entry]) -> None:
        self._source: Iterator[Entry] = iter(entries)
        self._ahead: deque[Entry] = deque()
        self.last: deque[Entry] = deque(maxlen=CONTEXT)
        self.seq = 0

    @property
    def next(self) -> Entry | None:
        """The entry that comes next; None at the end."""
        return self.look_ahead(0)

    def look_ahead(self, by: int) -> Entry | None:
        """The entry `by` places behind the next one."""
        while len(self._ahead) <= by:
            entry = next(self._source, None)
            if entry is None:
                return None
            self._ahead.append(entry)
        return self._ahead[by]

    def take(self) -> Entry:
        """Go on by one; raises IndexError at the end."""
        if self.next is None:
            raise IndexError("the record has no further entry")
        entry = self._ahead.popleft()
        self.seq = entry.seq
        if entry.kind != Kind.OBSERVATION:
            self.last.append(entry)
        return entry

    @property
    def watch_is_next(self) -> bool:
        """True when the next entry came from the watch or from a person, not from what drives the run."""
        entry = self.next
        if entry is None or entry.kind not in _INPUTS:
            return False
        return entry.kind == Kind.OPERATOR or entry.body["of"] == 0

    @property
    def broken_off(self) -> bool:
        """True where a crash ended the writing: at the end of an unfinished record, or before a gap."""
        entry, following = self.next, self.look_ahead(1)
        if entry is None:
            return True
        resumed = following is not None and following.kind == Kind.INTERRUPTION and "gap_s" in following.body
        return entry.kind == Kind.STATE and resumed

    def coming(self) -> list[Entry]:
        """The next few entries that are no readings, as far as they are near."""
        near = [self.look_ahead(by) for by in range(40)]
        return [e for e in near if e is not None and e.kind != Kind.OBSERVATION][:CONTEXT]
