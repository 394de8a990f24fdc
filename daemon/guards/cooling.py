"""Cold that does not arrive, and cold that is lost."""

from __future__ import annotations

from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Source
from daemon.states import State

_WARM_C = 15.0
"""Colder than this a source is held below any room; what it holds warms by itself when its cooling stops."""

_NOISE_K = 0.2
"""A display may fall back by this and the source warm all the same."""


class NoFall(Guard):
    """Far above the set-point, and the source does not cool."""

    name = "no_fall"
    hazard = "the source is to cool and does not: its fan, coolant or compressor failed"
    reads = "source"
    reaction = Reaction.PARK
    why = "a matter of time, not of safety: the points that are left cannot be reached this night"
    thresholds = {
        "above_k": Threshold(5.0, "K above the set-point", "lower"),
        "fall_k": Threshold(2.0, "K", "higher"),
        "within_s": Threshold(1800.0, "s", "lower"),
    }

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._lowest_c: float | None = None
        self._lowest_at_s = 0.0

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when the temperature has not fallen within the time that even a slow source needs."""
        if not isinstance(observation, Source) or situation.commanded_c is None:
            return None
        temperature_c = observation.status.temperature.value
        if temperature_c is None:
            return None
        if situation.state is not State.RUNNING or situation.heater_commanded is not True:
            # A hold may have stopped the cooling on purpose, parking has a guard of its own, and a source
            # whose heater is off for good, or was never on, cools as slowly as it likes.
            self._lowest_c = None
            return None
        above_k = temperature_c - situation.commanded_c
        fall_k, patience_s = self.figures["fall_k"], self.figures["within_s"]
        lowest_c, new_order = self._lowest_c, situation.changed_at_s > self._lowest_at_s
        if above_k <= self.figures["above_k"] or lowest_c is None or new_order:
            self._note(temperature_c, situation.now_s)
            return None
        if temperature_c <= lowest_c - fall_k:
            self._note(temperature_c, situation.now_s)
        waited_s = situation.now_s - self._lowest_at_s
        if waited_s <= patience_s:
            return None
        sentence = (
            f"{above_k:.0f} K above the set-point and no fall of {fall_k:.0f} K in {waited_s / 60:.0f} min: "
            "fan, coolant or compressor failed; what is left of the plan waits for another night"
        )
        return self.verdict(sentence, waited_s, patience_s, "s")

    def _note(self, temperature_c: float, now_s: float) -> None:
        self._lowest_c, self._lowest_at_s = temperature_c, now_s


class CoolingLost(Guard):
    """A cold source had reached its set-point and now warms away from it."""

    name = "cooling_lost"
    hazard = "the compressor or coolant of a cold source stopped: what it holds warms up"
    reads = "source"
    reaction = Reaction.CUT
    why = "no heater helps it; cold alcohol passes its flash point at 10 °C to 15 °C while it warms"
    source = "common practice, no source; flash point from memory"
    thresholds = {
        "above_k": Threshold(2.0, "K above a set-point at which it had been", "lower"),
        "stands_s": Threshold(600.0, "s without falling", "lower"),
    }

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._reached_for_s: float | None = None
        self._highest_c = 0.0

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when it has only warmed for ten minutes; an opened lid lets it cool again before."""
        commanded_c = situation.commanded_c
        if not isinstance(observation, Source) or commanded_c is None or situation.heater_commanded is False:
            return None
        temperature_c = observation.status.temperature.value
        if temperature_c is None or not commanded_c <= _WARM_C or situation.cooling_commanded is False:
            return None
        above_k, limit_k = temperature_c - commanded_c, self.figures["above_k"]
        if abs(above_k) <= limit_k:
            self._reached_for_s = situation.changed_at_s
        if above_k <= limit_k or self._reached_for_s != situation.changed_at_s:
            self.standing.update(False, situation.now_s)
            return None
        return self._warming(temperature_c, above_k, situation)

    def _warming(self, temperature_c: float, above_k: float, situation: Situation) -> Verdict | None:
        rising = self.standing.count == 0 or temperature_c >= self._highest_c - _NOISE_K
        self._highest_c = max(temperature_c, self._highest_c) if self.standing.count else temperature_c
        if self.standing.update(rising, situation.now_s) < self.figures["stands_s"] or not rising:
            return None
        sentence = (
            f"{above_k:.1f} K above the set-point {situation.commanded_c:.1f} °C and warming: compressor or "
            "coolant stopped. Leave the lid shut, keep flames and sparks away, let it warm by itself"
        )
        return self.verdict(sentence, above_k, self.figures["above_k"], "K")
