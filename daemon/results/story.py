"""The story of a night, read once from its record: spans, traces, and everything somebody said."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from daemon.journal.entry import Entry, Kind
from daemon.journal.read import RecordError, read_entries
from daemon.results.phases import Phases
from daemon.results.traces import Traces

GAP_S = 30.0
"""Longer than this without any look at the source is told as a gap: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Said:
    """An entry that people want to read: `when_s` since the record was opened, `utc_s` since 1970."""

    kind: str
    when_s: float
    utc_s: float
    body: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Gap:
    """A time in which nobody looked at the source; s since the record was opened."""

    start_s: float
    end_s: float


@dataclass
class Story:
    """All of it; times in s since the record was opened, by the UTC stamps."""

    opening: Entry
    phases: Phases = field(default_factory=Phases)
    traces: Traces = field(default_factory=Traces)
    said: list[Said] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    offsets_s: dict[int, float] = field(default_factory=dict)
    end_s: float = 0.0
    closed: bool = False
    _looked_s: float = 0.0

    @property
    def simulated(self) -> bool:
        """Whether the instruments were simulated."""
        return bool(self.opening.body["simulated"])

    def of_kind(self, kind: Kind) -> list[Said]:
        """What was said of one kind."""
        return [one for one in self.said if one.kind == kind]

    def utc_s(self, when_s: float) -> float:
        """UTC of a time in the story."""
        return self.opening.utc_s + when_s

    def utc_of_reading_s(self, index: int, monotonic_s: float) -> float:
        """UTC of a monotonic instant within point `index`; the offset is the one in force at that point."""
        return monotonic_s + self.offsets_s.get(index, self.opening.utc_s - self.opening.when_s)

    def take(self, entry: Entry) -> None:
        """Take the next entry; what people signed afterwards is no part of the night."""
        if entry.kind == Kind.REVIEW:
            return
        # UTC is the only time that goes on through a restart of the machine.
        when_s = self.end_s = entry.utc_s - self.opening.utc_s
        match entry.kind:
            case Kind.OBSERVATION:
                self.traces.take(entry, when_s)
                self._watched(entry, when_s)
            case Kind.STATE | Kind.MILESTONE:
                self.phases.take(entry, when_s)
                if entry.body.get("mark") == "point_finished":
                    self.offsets_s[entry.body["index"]] = entry.utc_s - entry.when_s
            case Kind.CLOSED:
                self.closed = True
        if entry.kind not in (Kind.OBSERVATION, Kind.ACTION, Kind.OPENED):
            self.said.append(Said(entry.kind, when_s, entry.utc_s, entry.body))

    def _watched(self, entry: Entry, when_s: float) -> None:
        if entry.body["what"] == "source":
            if when_s - self._looked_s > GAP_S:
                self.gaps.append(Gap(self._looked_s, when_s))
            self._looked_s = when_s


def tell(record: Path, hear: Callable[[Entry], None] = lambda entry: None) -> Story:
    """Read a record from its first entry to its last; `hear` is given each one too. Raises RecordError."""
    entries = read_entries(record)
    opening = next(entries, None)
    if opening is None or opening.kind != Kind.OPENED:
        raise RecordError(f"{record}: the record has no opening entry, so it was never started")
    story = Story(opening)
    for entry in entries:
        story.take(entry)
        hear(entry)
    story.phases.end(story.end_s)
    return story
