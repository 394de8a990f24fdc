"""A thermometer or the source is above what everything in it may see, measured or about to be."""

from __future__ import annotations

from collections import defaultdict

from daemon.guards.guard import Guard, Standing, Threshold
from daemon.guards.situation import Situation, Track
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Resistance, Source


def place_of(observation: Observation, situation: Situation) -> tuple[int, str, Track] | None:
    """Channel, name and track of the place in the source that this observation reads."""
    if isinstance(observation, Source) and observation.status.temperature.value is not None:
        return 0, "the controller", situation.source
    if isinstance(observation, Resistance) and observation.reading.value is not None:
        facts, track = situation.channels.get(observation.channel), situation.tracks.get(observation.channel)
        if facts is not None and track is not None and facts.role != "head":
            return facts.channel, facts.name, track
    return None


class OverLimit(Guard):
    """Highest of all valid temperatures against the lowest of all ratings."""

    name = "over_limit"
    hazard = "a probe or the source is above the run's limit, measured"
    reads = "both"
    reaction = Reaction.CUT
    why = "the last line in software: over-temperature poisons platinum and cracks sheaths"
    thresholds = {"readings": Threshold(2, "readings in a row", "lower")}

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._standing: defaultdict[int, Standing] = defaultdict(Standing)

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks after two readings of one place above the limit."""
        place = place_of(observation, situation)
        if place is None:
            return None
        channel, name, track = place
        limit_c = situation.limits.highest_c
        standing = self._standing[channel]
        standing.update(not track.newest_c <= limit_c, situation.now_s)
        if standing.count < self.figures["readings"]:
            return None
        sentence = (
            f"{name} reads {track.newest_c:.1f} °C, the run's limit is {limit_c:.1f} °C "
            f"(set by {situation.limits.highest_set_by})"
        )
        return self.verdict(sentence, track.newest_c, limit_c, "°C", channel)


class OverLimitPredicted(Guard):
    """The same limit, judged on where the temperature will be before anything could stop it."""

    name = "over_limit_predicted"
    hazard = "a probe or the source will pass the run's limit before the next visit or while coasting"
    reads = "both"
    reaction = Reaction.CUT
    why = "after heat is cut a source coasts on; a measured limit alone acts too late by that much"
    thresholds = {
        "rate_k_per_min": Threshold(0.5, "K/min", "lower"),
        "readings": Threshold(3, "readings in a row", "lower"),
    }

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._standing: defaultdict[int, Standing] = defaultdict(Standing)

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when rate times the longer of coasting and visiting time leads past the limit."""
        place = place_of(observation, situation)
        if place is None:
            return None
        channel, name, track = place
        limit_c = situation.limits.highest_c
        rate = track.rate_k_per_min
        ahead_s = max(situation.limits.coast_s, track.visit_interval_s)
        predicted_c = track.temperature_c + rate * ahead_s / 60.0
        stands = rate > self.figures["rate_k_per_min"] and not predicted_c <= limit_c
        standing = self._standing[channel]
        standing.update(stands, situation.now_s)
        if standing.count < self.figures["readings"]:
            return None
        sentence = (
            f"{name} rises by {rate:.1f} K/min at {track.temperature_c:.1f} °C and would reach "
            f"{predicted_c:.1f} °C; the run's limit is {limit_c:.1f} °C "
            f"(set by {situation.limits.highest_set_by})"
        )
        return self.verdict(sentence, predicted_c, limit_c, "°C", channel)
