"""What every guard is made of: a name, what it reads, figures with their direction, a reaction, a reason."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal

from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation

Reads = Literal["source", "resistance", "both", "machine", "monitored"]
"""What a guard is asked about; a failed look or reading and a confirmed command are shown to every guard."""


@dataclass(frozen=True, slots=True)
class Threshold:
    """A figure of a guard: default, unit, and which way a plan may move it."""

    default: float
    unit: str
    stricter: Literal["lower", "higher"]

    def allows(self, value: float) -> bool:
        """True when `value` is as strict as the default or stricter."""
        return value <= self.default if self.stricter == "lower" else value >= self.default


class LoosenedThreshold(Exception):
    """A plan asks for a guard that is looser than its default, or names one that does not exist."""


class Guard(ABC):
    """Judges observations; keeps only what it needs to remember of them."""

    name: ClassVar[str]
    hazard: ClassVar[str]
    reads: ClassVar[Reads]
    reaction: ClassVar[Reaction]
    latched: ClassVar[bool] = True
    distrusts: ClassVar[Literal["", "reference", "controller"]] = ""
    """Which temperature is not to be trusted while this guard's verdict stands."""
    why: ClassVar[str]
    source: ClassVar[str] = "common practice, no source"
    thresholds: ClassVar[Mapping[str, Threshold]] = {}
    clears_after_s: ClassVar[float] = 300.0

    def __init__(self, changed: Mapping[str, float] | None = None) -> None:
        self.standing = Standing()
        self.figures = {key: threshold.default for key, threshold in self.thresholds.items()}
        for key, value in (changed or {}).items():
            self._tighten(key, value)

    def _tighten(self, key: str, value: float) -> None:
        threshold = self.thresholds.get(key)
        if threshold is None:
            known = ", ".join(self.thresholds) or "none"
            raise LoosenedThreshold(f"guard {self.name} has no figure {key!r} (it has: {known})")
        if not threshold.allows(value):
            side = "at most" if threshold.stricter == "lower" else "at least"
            raise LoosenedThreshold(
                f"guard {self.name}: {key} = {value:g} {threshold.unit} would loosen it; "
                f"a plan may set {side} {threshold.default:g} {threshold.unit}"
            )
        self.figures[key] = value

    @abstractmethod
    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """A verdict while the condition stands, else None."""

    def verdict(self, sentence: str, value: float, limit: float, unit: str, channel: int = 0) -> Verdict:
        """A verdict of this guard with its own reaction."""
        return Verdict(self.name, self.reaction, sentence, value, limit, unit, channel, self.latched)


class Standing:
    """Debounce: how long and how often in a row a condition has stood."""

    def __init__(self) -> None:
        self._since_s: float | None = None
        self.count = 0

    def update(self, stands: bool, now_s: float) -> float:
        """Seconds for which the condition has stood without a break (0 when it does not)."""
        if not stands:
            self._since_s, self.count = None, 0
            return 0.0
        if self._since_s is None:
            self._since_s = now_s
        self.count += 1
        return now_s - self._since_s
