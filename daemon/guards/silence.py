"""No good reading, or replies that cannot be used."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Failed, Monitored, Observation, Source


class Silence(Guard):
    """No good reading for a short while: wait, do not decide."""

    name = "silence"
    hazard = "no fresh reading from the reference or from the controller"
    reads = "both"
    reaction = Reaction.HOLD
    latched = False
    why = "a cable or a busy instrument; nothing may advance on old numbers"
    thresholds = {
        "controller_s": Threshold(10.0, "s", "lower"),
        "reference_s": Threshold(10.0, "s beyond its longest turn", "lower"),
    }

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when the newest good reading is older than allowed."""
        for name, age_s, limit_s in self._ages(situation):
            if not age_s <= limit_s:
                sentence = f"{name} has given no good reading for {age_s:.0f} s (allowed {limit_s:.0f} s)"
                return self.verdict(sentence, age_s, limit_s, "s")
        return None

    def _ages(self, situation: Situation) -> Iterator[tuple[str, float, float]]:
        if situation.source.seen():
            age_s = situation.now_s - situation.source.when_s
            yield "the controller", age_s, self.figures["controller_s"]
        yield from _reference_age(situation, self.figures["reference_s"])


class ReferenceLost(Guard):
    """No good reading of the reference for so long that its heat has no purpose."""

    name = "reference_lost"
    hazard = "the reference stays silent"
    reads = "both"
    reaction = Reaction.PARK
    distrusts = "reference"
    why = "blind heating; the controller is still trusted to cool"
    thresholds = {"reference_s": Threshold(60.0, "s beyond its longest turn", "lower")}

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when the newest good reading is older than allowed."""
        for name, age_s, limit_s in _reference_age(situation, self.figures["reference_s"]):
            if not age_s <= limit_s:
                sentence = f"{name} has given no good reading for {age_s:.0f} s (allowed {limit_s:.0f} s)"
                return self.verdict(sentence, age_s, limit_s, "s")
        return None


class ControllerUnseen(Guard):
    """Marks the controller as not to be trusted while it is silent; what follows is judged elsewhere."""

    name = "controller_unseen"
    hazard = "the controller has not answered for half a minute"
    reads = "both"
    reaction = Reaction.MARK
    latched = False
    distrusts = "controller"
    why = "with the reference gone as well nothing would be left to cool by"
    thresholds = {"controller_s": Threshold(30.0, "s", "lower")}

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when the newest look is older than allowed."""
        age_s, limit_s = situation.now_s - situation.source.when_s, self.figures["controller_s"]
        if age_s <= limit_s or not situation.source.seen():
            return None
        return self.verdict(f"the controller has not answered for {age_s:.0f} s", age_s, limit_s, "s")


class Garbled(Guard):
    """An instrument's failures, counted as they come."""

    name = "garbled"
    hazard = "replies that are cut, garbled or belong to another question"
    reads = "both"
    reaction = Reaction.HOLD
    latched = False
    why = "a wrong number is worse than none"
    thresholds = {"failures": Threshold(5, "failures in a row", "lower")}

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._failures: defaultdict[str, int] = defaultdict(int)

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when one instrument failed several times in a row."""
        if not isinstance(observation, Failed):
            self._failures[_role(observation)] = 0
            return None
        if observation.role == "ambient":  # the room's climate decides nothing about heat
            return None
        self._failures[observation.role] += 1
        count = self._failures[observation.role]
        if count < self.figures["failures"]:
            return None
        sentence = f"the {observation.role} failed {count} times in a row, last: {observation.reason}"
        return self.verdict(sentence, count, self.figures["failures"], "failures")


def _role(observation: Observation) -> str:
    if isinstance(observation, Monitored):
        return observation.role
    return "source" if isinstance(observation, Source) else "bridge"


def _reference_age(situation: Situation, beyond_s: float) -> Iterator[tuple[str, float, float]]:
    track = situation.tracks.get(situation.reference_channel)
    if track is not None:
        # The scanner visits the reference in turn, so that turn comes on top.
        limit_s = situation.limits.reference_turn_s + beyond_s
        yield "the reference", situation.now_s - track.when_s, limit_s
