"""Reference thermometer and controller do not agree about how hot it is."""

from __future__ import annotations

import math

from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Source

_RATE_MEMORY_S = 120.0


class ReferenceAgainstController(Guard):
    """Difference after the display's known offset, wider while moving, tighter at rest."""

    name = "reference_against_controller"
    hazard = "reference and controller disagree: one of them drifts, lies or fell out"
    reads = "source"
    reaction = Reaction.PARK
    why = "the only guard that sees a controller that lies slowly"
    thresholds = {
        "moving_k": Threshold(2.0, "K + 0.5 % of the temperature + lag", "lower"),
        "settled_k": Threshold(1.0, "K + 0.2 % of the temperature", "lower"),
        "stands_s": Threshold(60.0, "s", "lower"),
    }

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._recent_rate = 0.0
        self._last_s: float | None = None

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when the disagreement has stood for a minute."""
        reference = situation.reference()
        if not isinstance(observation, Source) or reference is None:
            return None
        controller_c = observation.status.temperature.value
        if controller_c is None:
            return None
        self._remember_rate(situation, reference.rate_k_per_min)
        controller_c -= situation.limits.display_offset_k
        difference_k = reference.temperature_c - controller_c
        limit_k = self._limit_k(situation, abs(reference.temperature_c), reference.visit_interval_s)
        stood_s = self.standing.update(not abs(difference_k) <= limit_k, situation.now_s)
        if stood_s < self.figures["stands_s"] or abs(difference_k) <= limit_k:
            return None
        sentence = (
            f"the reference reads {reference.temperature_c:.2f} °C and the controller "
            f"{controller_c:.2f} °C: they differ by {abs(difference_k):.2f} K, allowed are {limit_k:.2f} K"
        )
        return self.verdict(sentence, difference_k, limit_k, "K")

    def _remember_rate(self, situation: Situation, rate_k_per_min: float) -> None:
        # The recent rate decays, so that the tolerance shrinks again once the source has settled.
        elapsed_s = situation.now_s - (self._last_s if self._last_s is not None else situation.now_s)
        self._last_s = situation.now_s
        # No source is faster than this; a sensor that fell out is, and must not widen its own tolerance.
        fastest = 1.5 * max(situation.limits.heating_k_per_min, situation.limits.cooling_k_per_min)
        rate = min(max(abs(rate_k_per_min), abs(situation.source.rate_k_per_min)), fastest)
        self._recent_rate = max(rate, self._recent_rate * math.exp(-elapsed_s / _RATE_MEMORY_S))

    def _limit_k(self, situation: Situation, temperature_c: float, visit_s: float) -> float:
        if situation.settled() and self._recent_rate < 0.05:
            return self.figures["settled_k"] + 0.002 * temperature_c
        lag_min = (situation.limits.coast_s + visit_s) / 60.0
        return self.figures["moving_k"] + 0.005 * temperature_c + 2.0 * self._recent_rate * lag_min


class ControllerReadsLow(Guard):
    """The controller shows far less than the reference: it heats against a temperature that is not there."""

    name = "controller_reads_low"
    hazard = "the controller reads far below the reference: its sensor fell out or failed"
    reads = "source"
    reaction = Reaction.CUT
    distrusts = "controller"
    why = "parking is control too: it would heat the source until the lying sensor is content"
    thresholds = {
        "below_k": Threshold(25.0, "K + 2 % of the temperature + lag", "lower"),
        "stands_s": Threshold(20.0, "s", "lower"),
    }

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when it has stood for twenty seconds."""
        reference = situation.reference()
        if not isinstance(observation, Source) or reference is None:
            return None
        shown_c = observation.status.temperature.value
        if shown_c is None:
            return None
        below_k = reference.temperature_c - (shown_c - situation.limits.display_offset_k)
        lag_min = (situation.limits.coast_s + reference.visit_interval_s) / 60.0
        lag_k = situation.limits.heating_k_per_min * lag_min
        limit_k = self.figures["below_k"] + 0.02 * abs(reference.temperature_c) + lag_k
        stands = not below_k <= limit_k
        if self.standing.update(stands, situation.now_s) < self.figures["stands_s"] or not stands:
            return None
        sentence = (
            f"the controller shows {shown_c:.0f} °C where the reference reads "
            f"{reference.temperature_c:.0f} °C: it cannot be trusted to control anything"
        )
        return self.verdict(sentence, below_k, limit_k, "K")
