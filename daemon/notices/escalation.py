"""Who is called when: the bell, then the first person, then the second, again until somebody acknowledges."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Step(StrEnum):
    """One way of calling."""

    BELL = "bell"
    FIRST = "first person"
    SECOND = "second person"


@dataclass(frozen=True, slots=True)
class Waits:
    """Seconds from bell to first person, from there to the second, and until all of it comes again."""

    first_s: float
    second_s: float
    repeat_s: float


@dataclass(frozen=True, slots=True)
class Call:
    """A call that is due: `round` counts from 1."""

    step: Step
    cause: str
    round: int


class Escalation:
    """One cause after another; time is whatever clock the caller reads, in s."""

    def __init__(self, waits: Waits) -> None:
        self._waits = waits
        self._cause = ""
        self._since_s = 0.0
        self._made: set[tuple[Step, int]] = set()

    @property
    def cause(self) -> str:
        """What is called for; empty when nothing is."""
        return self._cause

    def look(self, cause: str, now_s: float) -> list[Call]:
        """Calls due now, given what is called for now; an empty cause ends it, a new one begins afresh."""
        if cause != self._cause:
            self._cause, self._since_s, self._made = cause, now_s, set()
        if not cause:
            return []
        due = [call for call in self._due(now_s) if (call.step, call.round) not in self._made]
        self._made |= {(call.step, call.round) for call in due}
        return due

    def _due(self, now_s: float) -> list[Call]:
        """Everything due in the present round; the second person is in every round but the first at once."""
        waits, gone_s = self._waits, now_s - self._since_s
        later_s = waits.first_s + waits.second_s
        repeats = max(0, int((gone_s - later_s) // waits.repeat_s)) if gone_s >= later_s else 0
        if repeats:
            return [Call(step, self._cause, 1 + repeats) for step in Step]
        at_s = {Step.BELL: 0.0, Step.FIRST: waits.first_s, Step.SECOND: later_s}
        return [Call(step, self._cause, 1) for step in Step if gone_s >= at_s[step]]
