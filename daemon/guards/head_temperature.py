"""A probe's head, handle or cable transition is getting too hot."""

from __future__ import annotations

from collections import defaultdict

from daemon.guards.guard import Guard, Standing, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Resistance


class HeadWarm(Guard):
    """Warns while a head is warm but not yet at its limit."""

    name = "head_warm"
    hazard = "a probe's head or handle is warm"
    reads = "resistance"
    reaction = Reaction.MARK
    latched = False
    why = "cement and connector usually fail before the sheath does"
    thresholds = {"margin_k": Threshold(20.0, "K below the head's rating", "higher")}
    stands_s = 30.0

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._standing: defaultdict[int, Standing] = defaultdict(Standing)

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when a head sensor has stood above rating less margin for half a minute."""
        if not isinstance(observation, Resistance) or observation.reading.value is None:
            return None
        facts = situation.channels.get(observation.channel)
        track = situation.tracks.get(observation.channel)
        if facts is None or track is None or facts.role != "head":
            return None
        temperature_c = track.newest_c
        limit_c = facts.maximum_c - self.figures["margin_k"]
        standing = self._standing[facts.channel]
        stands = not temperature_c <= limit_c
        if standing.update(stands, situation.now_s) < self.stands_s or not stands:
            return None
        sentence = (
            f"the head of {facts.name} is at {temperature_c:.0f} °C, its rating is {facts.maximum_c:.0f} °C"
        )
        return self.verdict(sentence, temperature_c, limit_c, "°C", facts.channel)


class HeadHot(HeadWarm):
    """Ends the run before a head reaches its rating."""

    name = "head_hot"
    hazard = "a probe's head or handle comes close to its rating"
    reaction = Reaction.PARK
    latched = True
    why = "a hot handle ruins the head and the cable seal"
    thresholds = {"margin_k": Threshold(10.0, "K below the head's rating", "higher")}
