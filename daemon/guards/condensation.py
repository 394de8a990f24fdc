"""Water out of the room's air on cold thermometers."""

from __future__ import annotations

from daemon.dew_point import CLEAR_K, clearance
from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Monitored, Observation


class Condensation(Guard):
    """A head, or the room itself, is at the dew point while the source is cold."""

    name = "condensation"
    hazard = "water condenses on heads and connectors above a cold source, or freezes in its wells"
    reads = "monitored"
    reaction = Reaction.MARK
    latched = False
    why = (
        "water across the leads makes a thermometer read low; what was read meanwhile is doubted, "
        "and points below 0 °C are skipped"
    )
    thresholds = {"clear_k": Threshold(CLEAR_K, "K above the room's dew point", "higher")}

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks at a look at the room; where heads have sensors of their own the coldest of them counts."""
        if not isinstance(observation, Monitored) or observation.role != "ambient":
            return None
        near = clearance(observation, _heads(situation))
        if near is None or not situation.source.seen() or situation.source.temperature_c >= near.dew_c:
            return None
        limit_k = self.figures["clear_k"]
        if near.clear_k >= limit_k:
            return None
        sentence = f"{near}: water may be on connectors and in wells; dry the air, or wait for a drier day"
        return self.verdict(sentence, near.clear_k, limit_k, "K")


def _heads(situation: Situation) -> list[tuple[str, float]]:
    return [
        (facts.name, track.temperature_c)
        for channel, facts in situation.channels.items()
        if facts.role == "head" and (track := situation.tracks.get(channel)) is not None
    ]
