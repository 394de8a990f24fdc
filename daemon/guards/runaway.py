"""Heat beyond the set-point, and heat that nobody asked for."""

from __future__ import annotations

from daemon.guards.guard import Guard, Standing, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Source

_AFTER_CHANGE_S = 300.0
_NO_DEMAND_PERCENT = 1.0
_WARMS_BY_ITSELF_BELOW_C = 30.0
_WARMING_PER_K = 0.02


class Runaway(Guard):
    """Above the set-point and still rising."""

    name = "runaway"
    hazard = "the source is above its set-point and goes on rising"
    reads = "source"
    reaction = Reaction.CUT
    why = "a check that looks only below the target misses a control sensor that fell out"
    thresholds = {
        "above_k": Threshold(5.0, "K above the set-point", "lower"),
        "rate_k_per_min": Threshold(0.5, "K/min", "lower"),
        "stands_s": Threshold(30.0, "s", "lower"),
    }

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when it has stood for half a minute, not right after a new set-point."""
        now_s, reference = situation.now_s, situation.reference()
        if situation.commanded_c is None or now_s - situation.changed_at_s < _AFTER_CHANGE_S:
            self.standing.update(False, now_s)
            return None
        track = situation.source
        if reference is not None and reference.temperature_c > track.temperature_c:
            track = reference
        above_k = track.temperature_c - situation.commanded_c
        limit_k = self.figures["above_k"]
        stands = not above_k <= limit_k and track.rate_k_per_min > self.figures["rate_k_per_min"]
        if self.standing.update(stands, now_s) < self.figures["stands_s"] or not stands:
            return None
        sentence = (
            f"{track.temperature_c:.1f} °C is {above_k:.1f} K above the set-point and rises by "
            f"{track.rate_k_per_min:.1f} K/min"
        )
        return self.verdict(sentence, above_k, limit_k, "K")


class HeatUnasked(Guard):
    """The output is at zero, or the heater is switched off, and the source rises all the same."""

    name = "heat_unasked"
    hazard = "heat at zero demand: a welded relay or a shorted power switch"
    reads = "source"
    reaction = Reaction.CUT
    why = "no command stops it; only a contactor or the main switch does"
    thresholds = {
        "rate_k_per_min": Threshold(0.5, "K/min", "lower"),
        "stands_s": Threshold(120.0, "s", "lower"),
        "dead_times": Threshold(2.0, "coasting times that are waited first", "lower"),
    }

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._idle = Standing()

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when both sensors rise for two minutes after the dead time without demand."""
        if not isinstance(observation, Source):
            return None
        status, now_s = observation.status, situation.now_s
        output = status.output_percent
        idle = status.heater_on is False or (output is not None and output <= _NO_DEMAND_PERCENT)
        idle_s = self._idle.update(idle, now_s)
        if idle_s < self.figures["dead_times"] * situation.limits.coast_s:
            self.standing.update(False, now_s)
            return None
        rate, limit = situation.agreed_rate_k_per_min(), self._limit(situation)
        stands = not rate <= limit
        if self.standing.update(stands, now_s) < self.figures["stands_s"] or not stands:
            return None
        sentence = (
            f"the source rises by {rate:.1f} K/min with no demand for heat: its relay is stuck. Nothing this "
            "program can command stops that: open the contactor or the main switch now"
        )
        return self.verdict(sentence, rate, limit, "K/min")

    def _limit(self, situation: Situation) -> float:
        # A source colder than the room warms by itself, a cold bath by about 0.6 K/min at -30 °C.
        below_k = max(0.0, _WARMS_BY_ITSELF_BELOW_C - situation.source.temperature_c)
        return self.figures["rate_k_per_min"] + _WARMING_PER_K * below_k
