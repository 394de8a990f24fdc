"""What a guard says: nothing, or a verdict that names itself, the value, the limit and the reaction."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import IntEnum
from typing import Any


class Reaction(IntEnum):
    """In order of strength: the strongest demand wins, a weaker one never undoes a stronger."""

    MARK = 1
    HOLD = 2
    PARK = 3
    CUT = 4

    @property
    def word(self) -> str:
        """The reaction as people read it."""
        return self.name.lower()

    @property
    def in_words(self) -> str:
        """What the reaction does, for the person who reads the record in the morning."""
        return _IN_WORDS[self]


_IN_WORDS = {
    Reaction.MARK: "data marked, run goes on",
    Reaction.HOLD: "set-point held, no new points, operator called",
    Reaction.PARK: "controlled cooling to the parking temperature",
    Reaction.CUT: "heater off at once",
}


@dataclass(frozen=True, slots=True)
class Verdict:
    """One guard's judgement; `value` and `limit` are in `unit`, `channel` is 0 for the whole bench."""

    guard: str
    reaction: Reaction
    sentence: str
    value: float
    limit: float
    unit: str
    channel: int = 0
    latched: bool = True

    def body(self) -> dict[str, Any]:
        """As it is written into the journal."""
        return asdict(self) | {"reaction": self.reaction.word}
