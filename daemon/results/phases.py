"""The night as spans of time: what the procedure was doing, and in which state the run was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from daemon.journal.entry import Entry, Kind
from daemon.states import State

_BEGINS = {
    "point_started": "approach",
    "arrived": "settling",
    "settled": "soak",
    "unsettled": "settling",
    "sequence_started": "readings",
    "parking": "parking",
}
_ENDS = frozenset(
    {"point_finished", "point_skipped", "run_ended_early", "starting_over", "parked", "cut_and_cool"}
)


@dataclass(frozen=True, slots=True)
class Span:
    """From `start_s` to `end_s` (s since the record was opened); `index` is the point's, -1 for none."""

    start_s: float
    end_s: float
    name: str
    index: int = -1


@dataclass
class PointPath:
    """One point on its way; times in s since the record was opened, None for what never came.

    `ended` is "finished", "skipped" or empty.
    """

    index: int
    label: str
    temperature_c: float
    started_s: float
    arrived_s: float | None = None
    settled_s: float | None = None
    sequence_s: float | None = None
    ended_s: float | None = None
    ended: str = ""

    def take(self, mark: str, when_s: float) -> None:
        """Note a milestone of this point."""
        match mark:
            case "arrived":
                self.arrived_s = when_s
            case "settled":
                self.settled_s = when_s
            case "unsettled" | "starting_over":
                self.settled_s = None
            case "sequence_started":
                self.sequence_s = when_s
            case "point_finished" | "point_skipped":
                self.ended_s, self.ended = when_s, mark.removeprefix("point_")


class Phases:
    """Turns milestones and changes of state into spans."""

    def __init__(self) -> None:
        self.done: list[Span] = []
        self.states: list[Span] = []
        self.points: list[PointPath] = []
        self._phase: tuple[float, str, int] | None = None
        self._state: tuple[float, str] = (0.0, str(State.IDLE))

    @property
    def state(self) -> str:
        """The last state."""
        return self._state[1]

    def take(self, entry: Entry, when_s: float) -> None:
        """Take a milestone or a change of state."""
        if entry.kind == Kind.STATE:
            self._close_phase(when_s)
            self._close_state(when_s, entry.body["to"])
        elif entry.kind == Kind.MILESTONE:
            self._milestone(entry.body, when_s)

    def end(self, when_s: float) -> None:
        """The record ends here."""
        self._close_phase(when_s)
        self._close_state(when_s, self.state)

    def _milestone(self, body: Mapping[str, Any], when_s: float) -> None:
        mark = body["mark"]
        if mark == "point_started":
            self.points.append(PointPath(body["index"], body["label"], body["temperature_c"], when_s))
        if self.points:
            self.points[-1].take(mark, when_s)
        if mark in _BEGINS or mark in _ENDS:
            self._close_phase(when_s)
        if mark in _BEGINS:
            index = -1 if mark == "parking" or not self.points else self.points[-1].index
            self._phase = (when_s, _BEGINS[mark], index)

    def _close_phase(self, when_s: float) -> None:
        if self._phase is not None:
            start_s, name, index = self._phase
            self.done.append(Span(start_s, when_s, name, index))
        self._phase = None

    def _close_state(self, when_s: float, new: str) -> None:
        self.states.append(Span(self._state[0], when_s, self._state[1]))
        self._state = (when_s, new)
