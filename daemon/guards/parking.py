"""A park that is not followed is no park."""

from __future__ import annotations

from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Source
from daemon.states import State

_COASTING_TIMES = 2.0
_NEAR_PARKING_K = 15.0
_NEARLY_COOL_C = 55.0


class RisingWhileParking(Guard):
    """The source rises although it was told to cool."""

    name = "rising_while_parking"
    hazard = "the source rises while it is being parked"
    reads = "source"
    reaction = Reaction.CUT
    why = "the controller does not follow; waiting longer only makes it hotter"
    thresholds = {
        "rate_k_per_min": Threshold(0.5, "K/min", "lower"),
        "stands_s": Threshold(60.0, "s", "lower"),
        "after_s": Threshold(120.0, "s + twice the coasting time", "lower"),
    }

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when controller or reference has risen for a minute, once the coasting must be over."""
        if situation.state is not State.PARKING:
            return None
        hot = situation.hottest_c()
        waited_s = situation.now_s - situation.entered_at_s
        after_s = self.figures["after_s"] + _COASTING_TIMES * situation.limits.coast_s
        # Below the parking temperature a source warms by itself, and may.
        stands = waited_s > after_s and hot is not None and hot > situation.limits.parking_c
        rate, limit = situation.highest_rate_k_per_min(), self.figures["rate_k_per_min"]
        stands = stands and not rate <= limit
        if self.standing.update(stands, situation.now_s) < self.figures["stands_s"] or not stands:
            return None
        sentence = f"told to cool, the source rises by {rate:.1f} K/min at {hot:.1f} °C"
        return self.verdict(sentence, rate, limit, "K/min")


class ParkingTooSlow(Guard):
    """Well above the parking temperature, and no fall."""

    name = "parking_too_slow"
    hazard = "the source does not cool although it is being parked"
    reads = "source"
    reaction = Reaction.CUT
    why = "something still heats it; a halt must end cold"
    thresholds = {
        "fall_k": Threshold(2.0, "K", "higher"),
        "within_s": Threshold(3600.0, "s", "lower"),
    }

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._lowest_c = 0.0
        self._lowest_at_s: float | None = None

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when an hour brought less than two kelvin."""
        if situation.state is not State.PARKING or not isinstance(observation, Source):
            return None
        hot, now_s = situation.hottest_c(), situation.now_s
        if hot is None or hot <= max(situation.limits.parking_c + _NEAR_PARKING_K, _NEARLY_COOL_C):
            return None
        if self._lowest_at_s is None or hot <= self._lowest_c - self.figures["fall_k"]:
            self._lowest_c, self._lowest_at_s = hot, now_s
        waited_s = now_s - self._lowest_at_s
        if waited_s <= self.figures["within_s"]:
            return None
        sentence = f"told to cool, the source is still at {hot:.1f} °C after {waited_s / 60.0:.0f} min"
        return self.verdict(sentence, waited_s, self.figures["within_s"], "s")
