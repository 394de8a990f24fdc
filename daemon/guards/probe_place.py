"""A probe that does not show what the source has: not seated, in a cold corner, or pulled out."""

from __future__ import annotations

from collections import defaultdict

from daemon.channels import ITEM_ROLES
from daemon.guards.guard import Guard, Standing, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Resistance

_SETTLING_S = 600.0


def _difference(observation: Observation, situation: Situation) -> tuple[int, str, float, float] | None:
    """Channel, name, item less reference in K, and what the two lags and conversions allow for, in K."""
    reference = situation.reference()
    if reference is None or not isinstance(observation, Resistance) or observation.reading.value is None:
        return None
    facts, track = situation.channels.get(observation.channel), situation.tracks.get(observation.channel)
    if facts is None or track is None or facts.role not in ITEM_ROLES:
        return None
    difference_k = track.newest_c - reference.newest_c
    lag_min = (reference.visit_interval_s + situation.limits.coast_s) / 60.0
    allowed_k = facts.allowance_k + 0.005 * abs(reference.newest_c) + 2.0 * _speed(situation) * lag_min
    return facts.channel, facts.name, difference_k, allowed_k


def _speed(situation: Situation) -> float:
    rate = abs(situation.source.rate_k_per_min)
    recent = situation.now_s - situation.changed_at_s < _SETTLING_S
    return max(rate, situation.ramp_k_per_min if recent else 0.0)


class Gradient(Guard):
    """Half of the items or more are away from the reference: the source has layers."""

    name = "gradient"
    hazard = "the items and the reference do not have the same temperature"
    reads = "resistance"
    reaction = Reaction.HOLD
    latched = False
    why = "a weak stirrer or a reference that is not seated makes every comparison wrong"
    thresholds = {
        "away_k": Threshold(2.0, "K + conversion + 0.5 % of the temperature + lag", "lower"),
        "stands_s": Threshold(60.0, "s", "lower"),
    }

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._away: set[int] = set()

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when it has stood for a minute on more than one item and on half of them."""
        seen = _difference(observation, situation)
        if seen is None:
            return None
        channel, name, difference_k, allowed_k = seen
        limit_k = self.figures["away_k"] + allowed_k
        (self._away.discard if abs(difference_k) <= limit_k else self._away.add)(channel)
        stands = len(self._away) >= max(2, situation.items / 2) or len(self._away) == situation.items
        if self.standing.update(stands, situation.now_s) < self.figures["stands_s"] or not stands:
            return None
        sentence = (
            f"{len(self._away)} of {situation.items} items are away from the reference, {name} by "
            f"{difference_k:+.1f} K (allowed {limit_k:.1f} K)"
        )
        return self.verdict(sentence, difference_k, limit_k, "K")


class ItemAway(Guard):
    """One item is away from the reference while the others are not."""

    name = "item_away"
    hazard = "one item shows another temperature than the reference: not seated, or bad"
    reads = "resistance"
    reaction = Reaction.MARK
    why = "one item must not cost the others their night; it is left out where it stays away"
    thresholds = {
        "away_k": Threshold(2.0, "K + conversion + 0.5 % of the temperature + lag", "lower"),
        "stands_s": Threshold(30.0, "s", "lower"),
    }
    said = "it is not seated, or it is bad"

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._standing: defaultdict[int, Standing] = defaultdict(Standing)

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when the difference has stood for its time."""
        seen = _difference(observation, situation)
        if seen is None:
            return None
        channel, name, difference_k, allowed_k = seen
        limit_k = self.figures["away_k"] + allowed_k
        stands = not abs(difference_k) <= limit_k
        stood_s = self._standing[channel].update(stands, situation.now_s)
        if stood_s < self.figures["stands_s"] or not stands:
            return None
        sentence = (
            f"{name} is {difference_k:+.1f} K away from the reference (allowed {limit_k:.1f} K): {self.said}"
        )
        return self.verdict(sentence, difference_k, limit_k, "K", channel)


class ProbePulled(ItemAway):
    """An item is so far from the reference that it cannot be in the source."""

    name = "probe_pulled"
    hazard = "a probe is pulled out, or was never put in"
    reaction = Reaction.PARK
    why = "a person may be at the bench with a hot probe: say it loudly, make no sudden move"
    thresholds = {
        "away_k": Threshold(10.0, "K + conversion + 0.5 % of the temperature + lag", "lower"),
        "stands_s": Threshold(30.0, "s", "lower"),
    }
    said = "it is out of the source"
