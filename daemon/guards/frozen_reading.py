"""An instrument repeats itself."""

from __future__ import annotations

import math

from daemon.channels import ITEM_ROLES
from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Resistance, Source


class FrozenReading(Guard):
    """A bridge reading that comes back to the last digit again and again."""

    name = "frozen_reading"
    hazard = "a resistance reading repeats to the last digit"
    reads = "resistance"
    reaction = Reaction.PARK
    why = "a buffer that repeats looks like perfect stability; real readings carry noise"
    thresholds = {"repeats": Threshold(20, "equal readings in a row", "lower")}
    roles: tuple[str, ...] = (*ITEM_ROLES, "head")

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._last: dict[int, tuple[float, int, float]] = {}

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks after so many equal values of one channel."""
        if not isinstance(observation, Resistance) or observation.reading.value is None:
            return None
        channel, value = observation.channel, observation.reading.value
        facts, last = situation.channels.get(channel), self._last.get(channel)
        if facts is None or facts.role not in self.roles:
            return None
        if last is None or value != last[0]:
            reference = situation.reference()
            self._last[channel] = (value, 1, reference.newest_c if reference else math.inf)
            return None
        count = last[1] + 1
        self._last[channel] = (value, count, last[2])
        if not self.frozen(count, last[2], situation):
            return None
        sentence = f"channel {channel} has read {value:.6f} Ω {count} times in a row: the reading is frozen"
        return self.verdict(sentence, count, self.figures["repeats"], "equal readings", channel)

    def frozen(self, count: int, reference_was_c: float, situation: Situation) -> bool:
        """Whether so many equal readings are too many."""
        return count >= self.figures["repeats"]


class FrozenReference(FrozenReading):
    """The same on the reference, whose temperature is then no longer known."""

    name = "frozen_reference"
    hazard = "the reference repeats to the last digit"
    distrusts = "reference"
    roles = ("reference",)


class FrozenAgainstReference(FrozenReading):
    """A few equal values of an item are enough while the reference moves."""

    name = "frozen_against_reference"
    hazard = "an item repeats to the last digit while the reference moves"
    why = "the scanner or the bridge hands out old values; a coarse readout repeats only at rest"
    thresholds = {
        "repeats": Threshold(6, "equal readings in a row", "lower"),
        "reference_moved_k": Threshold(1.0, "K", "lower"),
    }
    roles = ITEM_ROLES

    def frozen(self, count: int, reference_was_c: float, situation: Situation) -> bool:
        """Enough repeats, and the reference has moved since the first of them."""
        reference = situation.reference()
        if reference is None or count < self.figures["repeats"]:
            return False
        moved_k = abs(reference.newest_c - reference_was_c)
        return self.figures["reference_moved_k"] < moved_k < math.inf


class FrozenController(Guard):
    """A controller display that stands still while the reference moves."""

    name = "frozen_controller"
    hazard = "the controller's temperature repeats while the reference moves"
    reads = "source"
    reaction = Reaction.PARK
    distrusts = "controller"
    why = "the controller would heat blindly; a coarse display at rest repeats honestly"
    thresholds = {
        "repeats": Threshold(60, "equal looks in a row", "lower"),
        "reference_moved_k": Threshold(1.0, "K", "lower"),
    }

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._value: float | None = None
        self._count = 0
        self._reference_c: float | None = None

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks after sixty equal looks during which the reference moved."""
        if not isinstance(observation, Source) or observation.status.temperature.value is None:
            return None
        value, reference = observation.status.temperature.value, situation.reference()
        if value != self._value or self._reference_c is None:
            self._value, self._count = value, 0
            self._reference_c = reference.temperature_c if reference else None
        self._count += 1
        if self._count < self.figures["repeats"] or reference is None or self._reference_c is None:
            return None
        moved_k = abs(reference.temperature_c - self._reference_c)
        limit_k = self.figures["reference_moved_k"]
        if moved_k <= limit_k:
            return None
        sentence = (
            f"the controller has shown {value:.3f} °C for {self._count} looks while the reference "
            f"moved by {moved_k:.1f} K: its reading is frozen"
        )
        return self.verdict(sentence, moved_k, limit_k, "K")
