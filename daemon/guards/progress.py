"""Heat that does not arrive, and points that never end."""

from __future__ import annotations

from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Source


class NoRise(Guard):
    """Far below the set-point with the heater on, and no gain."""

    name = "no_rise"
    hazard = "the source is heated and does not get warmer"
    reads = "source"
    reaction = Reaction.PARK
    why = "broken heater, or a control sensor that fell out of the source and lets the heater run"
    thresholds = {
        "below_k": Threshold(5.0, "K below the set-point", "lower"),
        "gain_k": Threshold(2.0, "K", "higher"),
        "within_s": Threshold(180.0, "s", "lower"),
    }

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._best_c: float | None = None
        self._best_at_s = 0.0

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when no gain came within the time a quarter of the expected rate would need."""
        if not isinstance(observation, Source) or situation.commanded_c is None:
            return None
        temperature_c = observation.status.temperature.value
        if temperature_c is None or situation.heater_commanded is False:
            return None
        below_k = situation.commanded_c - temperature_c
        gain_k = self.figures["gain_k"]
        fresh_start = self._best_c is None or situation.changed_at_s > self._best_at_s
        if below_k <= self.figures["below_k"] or fresh_start or temperature_c >= self._best_c + gain_k:  # type: ignore[operator]
            self._best_c, self._best_at_s = temperature_c, situation.now_s
            return None
        expected = situation.ramp_k_per_min or situation.limits.heating_k_per_min
        patience_s = max(self.figures["within_s"], 60.0 * gain_k / (0.25 * expected))
        waited_s = situation.now_s - self._best_at_s
        if waited_s <= patience_s + situation.limits.coast_s:
            return None
        sentence = (
            f"{below_k:.0f} K below the set-point and no gain of {gain_k:.0f} K in {waited_s / 60:.0f} min: "
            "heater broken, or the control sensor is not in the source"
        )
        return self.verdict(sentence, waited_s, patience_s, "s")


class NoProgress(Guard):
    """One set-point has lasted longer than any point of this plan can."""

    name = "no_progress"
    hazard = "a point takes longer than the plan can need"
    reads = "source"
    reaction = Reaction.PARK
    why = "everything unknown ends here: a night must end"
    thresholds = {"factor": Threshold(1.0, "times the longest point of the plan", "lower")}

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when the time since the last new set-point passes the plan's longest point."""
        # Once the heater is off for good the source cools as slowly as it likes.
        if situation.commanded_c is None or situation.heater_commanded is False:
            return None
        limit_s = self.figures["factor"] * situation.limits.longest_point_s
        lasted_s = situation.now_s - situation.changed_at_s
        if lasted_s <= limit_s:
            return None
        sentence = (
            f"the set-point {situation.commanded_c:.1f} °C has stood for {lasted_s / 3600:.1f} h, "
            f"no point of this plan needs more than {limit_s / 3600:.1f} h"
        )
        return self.verdict(sentence, lasted_s, limit_s, "s")


class RunTooLong(Guard):
    """The whole run has lasted longer than its plan can explain."""

    name = "run_too_long"
    hazard = "the run takes much longer than forecast"
    reads = "source"
    reaction = Reaction.PARK
    why = "a night must end, also one in which nothing is plainly wrong"
    thresholds = {
        "factor": Threshold(1.0, "times one and a half forecasts + 2 h", "lower"),
        "hours": Threshold(72.0, "h in any case", "lower"),
    }

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when the time since the start passes the limit."""
        if situation.started_at_s is None or situation.heater_commanded is False:
            return None
        limit_s = min(self.figures["factor"] * situation.limits.longest_run_s, 3600.0 * self.figures["hours"])
        lasted_s = situation.now_s - situation.started_at_s
        if lasted_s <= limit_s:
            return None
        sentence = (
            f"the run lasts {lasted_s / 3600:.1f} h, the forecast explains {limit_s / 3600:.1f} h at most"
        )
        return self.verdict(sentence, lasted_s, limit_s, "s")
