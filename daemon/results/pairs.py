"""Readings with the current reversed: the mean of each pair counts, half their difference is thermal EMF."""

from __future__ import annotations

from collections import deque
from collections.abc import Hashable
from dataclasses import dataclass, field
from statistics import fmean


@dataclass(frozen=True, slots=True)
class SequenceReading:
    """One evaluated reading: time in s, resistance in ohm, and its place in the symmetrical sequence."""

    when_s: float
    resistance_ohm: float
    cycle: int
    visit: int


@dataclass
class Pairs:
    """Joins readings of the two ways of the current within one visit; one without its partner is not used.

    `emf_uv`: thermal EMF in µV by channel, pair by pair.
    """

    emf_uv: dict[int, list[float]] = field(default_factory=dict)
    _waiting: dict[Hashable, deque[tuple[float, SequenceReading]]] = field(default_factory=dict)

    def join(
        self, use: str, channel: int, current_ma: float, reading: SequenceReading
    ) -> SequenceReading | None:
        """The mean of this reading and its partner of the other way; None while there is none."""
        key = (use, channel, reading.cycle, reading.visit)
        waiting = self._waiting.setdefault(key, deque())
        if not waiting or waiting[0][0] * current_ma > 0.0:
            waiting.append((current_ma, reading))
            return None
        _, other = waiting.popleft()
        half_ohm = 0.5 * (reading.resistance_ohm - other.resistance_ohm)
        self.emf_uv.setdefault(channel, []).append(1e3 * half_ohm * current_ma)
        return SequenceReading(
            fmean((other.when_s, reading.when_s)),
            fmean((other.resistance_ohm, reading.resistance_ohm)),
            reading.cycle,
            reading.visit,
        )

    def clear(self) -> None:
        """Begin anew."""
        self.emf_uv.clear()
        self._waiting.clear()
