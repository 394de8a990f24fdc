"""The source moves faster than the plan and the probes allow."""

from __future__ import annotations

from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation


def _fastest(situation: Situation, sign: float) -> tuple[float, str]:
    """The fastest rise (`sign` 1) or fall (-1) of controller and reference, in K/min, and whose it is.

    The two are kept apart: a control sensor that fell out cools fast while the source runs away.
    """
    reference, own = situation.reference(), situation.source.rate_k_per_min
    if reference is not None and sign * reference.rate_k_per_min > sign * own:
        return reference.rate_k_per_min, "the reference thermometer"
    return own, "the controller"


_OLD_S = 600.0
_RECOVERY_K = 15.0


def _ordered(situation: Situation) -> float:
    """The ramp in K/min that may be going on.

    A source that was disturbed comes back to an old set-point as fast as its heater can; that is no
    runaway while it is just below, and the probes' own limit holds for it.
    """
    fastest = situation.limits.heating_k_per_min
    ordered = min(situation.ramp_k_per_min or fastest, fastest)
    hottest_c = situation.hottest_c()
    if situation.commanded_c is None or hottest_c is None:
        return ordered
    old = situation.now_s - situation.changed_at_s > _OLD_S
    return fastest if old and 0.0 < situation.commanded_c - hottest_c < _RECOVERY_K else ordered


class RisingTooFast(Guard):
    """Slope of controller and reference against one and a half times the ordered ramp."""

    name = "rising_too_fast"
    hazard = "the source heats faster than the ordered ramp"
    reads = "source"
    reaction = Reaction.PARK
    why = "the first sign of a runaway; ceramic cracks and platinum strains"
    thresholds = {
        "factor": Threshold(1.5, "times the ordered ramp", "lower"),
        "stands_s": Threshold(30.0, "s", "lower"),
    }

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when the rise has stood for half a minute."""
        rate, who = _fastest(situation, 1.0)
        ordered = _ordered(situation) if rate > 0.0 else situation.limits.heating_k_per_min
        limit = self.figures["factor"] * ordered + 0.3
        stands = not rate <= limit
        if self.standing.update(stands, situation.now_s) < self.figures["stands_s"] or not stands:
            return None
        sentence = f"{who} rises by {rate:.1f} K/min, ordered were {ordered:.1f} K/min"
        return self.verdict(sentence, rate, limit, "K/min")


class FallingTooFast(Guard):
    """Slope of controller and reference against the slowest cooling any probe here needs.

    While it stands in a hold, fan and chiller are switched off and the heat is kept.
    """

    name = "falling_too_fast"
    hazard = "the source cools faster than the most fragile probe allows"
    reads = "source"
    reaction = Reaction.HOLD
    why = "quenching strains platinum; cutting heat would only add to the shock"
    thresholds = {
        "factor": Threshold(1.5, "times the allowed cooling", "lower"),
        "stands_s": Threshold(30.0, "s", "lower"),
    }

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when the fall has stood for half a minute."""
        allowed = situation.limits.cooling_at(situation.hottest_c() or situation.source.temperature_c)
        limit = -(self.figures["factor"] * allowed + 0.3)
        rate, who = _fastest(situation, -1.0)
        stands = not rate >= limit
        if self.standing.update(stands, situation.now_s) < self.figures["stands_s"] or not stands:
            return None
        sentence = f"{who} falls by {-rate:.1f} K/min, the probes allow {allowed:.1f} K/min"
        return self.verdict(sentence, rate, limit, "K/min")
