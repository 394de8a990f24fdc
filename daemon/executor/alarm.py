"""The alarm of a halted or held run: repeated until a person acknowledges it."""

from __future__ import annotations

import math

REPEAT_S = 600.0


class Alarm:
    """Knows when the alarm is due again; times in s."""

    def __init__(self) -> None:
        self._next_s = math.inf
        self.cause = ""
        self.times = 0

    def raise_(self, cause: str, now_s: float) -> None:
        """A new state that a person must know of; its own entry is the first alarm."""
        self.cause, self.times, self._next_s = cause, 0, now_s + REPEAT_S

    def silence(self) -> bool:
        """A person has acknowledged, or there is nothing left to know; whether it was still due."""
        was_due = self._next_s < math.inf
        self._next_s = math.inf
        return was_due

    def due(self, now_s: float) -> bool:
        """True once every ten minutes until it is silenced."""
        if now_s < self._next_s:
            return False
        self.times += 1
        self._next_s = now_s + REPEAT_S
        return True
