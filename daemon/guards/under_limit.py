"""A thermometer or the source is below what everything in it may see, measured or about to be."""

from __future__ import annotations

from collections import defaultdict

from daemon.guards.guard import Guard, Standing, Threshold
from daemon.guards.over_limit import place_of
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation


class UnderLimit(Guard):
    """Lowest of all valid temperatures, carried on by its slope, against the highest of all lower limits."""

    name = "under_limit"
    hazard = "a probe or the source is below the run's lowest temperature, or will be while coasting"
    reads = "both"
    reaction = Reaction.HOLD
    why = "a freezing fluid stops the stirrer, and seals and cements crack; the cooling is switched off"
    thresholds = {"readings": Threshold(2, "readings in a row", "lower")}

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._standing: defaultdict[int, Standing] = defaultdict(Standing)

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks after two readings of one place below the limit."""
        place = place_of(observation, situation)
        if place is None:
            return None
        channel, name, track = place
        # A sensor that fell out cools faster than anything that is in the source.
        rate = max(min(0.0, track.rate_k_per_min), -2.0 * situation.limits.cooling_k_per_min)
        coming_k = rate * situation.limits.coast_s / 60.0
        lowest_c = track.temperature_c + (coming_k if coming_k < _FALLING_K else 0.0)
        limit_c = situation.limits.lowest_c
        standing = self._standing[channel]
        standing.update(not lowest_c >= limit_c, situation.now_s)
        if standing.count < self.figures["readings"]:
            return None
        sentence = (
            f"{name} reads {track.temperature_c:.1f} °C and comes to {lowest_c:.1f} °C; the run's lowest "
            f"temperature is {limit_c:.1f} °C (set by {situation.limits.lowest_set_by})"
        )
        return self.verdict(sentence, lowest_c, limit_c, "°C", channel)


_FALLING_K = -0.5
"""A slower fall than this over the coasting time is only scatter."""
