"""A thermometer is open, shorted, out of its band, or jumps as no temperature can."""

from __future__ import annotations

from collections import defaultdict

from daemon.channels import ITEM_ROLES, ChannelFacts, out_of_band
from daemon.guards.guard import Guard, Standing, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Resistance


def _read(
    observation: Observation, situation: Situation, *roles: str
) -> tuple[ChannelFacts, Resistance] | None:
    if not isinstance(observation, Resistance):
        return None
    facts = situation.channels.get(observation.channel)
    return (facts, observation) if facts is not None and facts.role in roles else None


class ReferenceFault(Guard):
    """The reference thermometer is open, shorted or implausible."""

    name = "reference_fault"
    hazard = "the reference thermometer is open, shorted or out of its band"
    reads = "resistance"
    reaction = Reaction.PARK
    distrusts = "reference"
    why = "without a reference there is no measurement; the controller can still be trusted to cool"
    thresholds = {"readings": Threshold(3, "readings in a row", "lower")}

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks after three bad readings in a row."""
        read = _read(observation, situation, "reference")
        if read is None:
            return None
        facts, reason = read[0], out_of_band(*read)
        self.standing.update(bool(reason), situation.now_s)
        if self.standing.count < self.figures["readings"]:
            return None
        sentence = f"reference {facts.name} on channel {facts.channel}: {reason}"
        count, limit = self.standing.count, self.figures["readings"]
        return self.verdict(sentence, count, limit, "bad readings", facts.channel)


class ItemFault(Guard):
    """A thermometer under test is open, shorted or implausible; the others go on."""

    name = "item_fault"
    hazard = "a thermometer under test is open, shorted or out of its band"
    reads = "resistance"
    reaction = Reaction.MARK
    why = "one broken item must not cost the others their night"
    thresholds = {"readings": Threshold(3, "readings in a row", "lower")}

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._standing: defaultdict[int, Standing] = defaultdict(Standing)

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks after three bad readings in a row of one channel."""
        read = _read(observation, situation, *ITEM_ROLES, "head")
        if read is None:
            return None
        facts, reason = read[0], out_of_band(*read)
        standing = self._standing[facts.channel]
        standing.update(bool(reason), situation.now_s)
        if standing.count < self.figures["readings"]:
            return None
        sentence = f"{facts.name} on channel {facts.channel}: {reason}; it is left out from here on"
        return self.verdict(sentence, standing.count, self.figures["readings"], "bad readings", facts.channel)


class AllItemsFault(Guard):
    """Nothing under test is left to measure."""

    name = "all_items_fault"
    hazard = "every thermometer under test is bad"
    reads = "resistance"
    reaction = Reaction.HOLD
    why = "a run without items is heat without purpose; a scanner fault looks like this"

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._bad: set[int] = set()

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when the newest reading of every item is bad."""
        read = _read(observation, situation, *ITEM_ROLES)
        if read is None:
            return None
        facts = read[0]
        (self._bad.add if out_of_band(*read) else self._bad.discard)(facts.channel)
        items = situation.items
        if len(self._bad) < items:
            return None
        sentence = f"all {items} thermometers under test read open, short or implausible"
        return self.verdict(sentence, len(self._bad), items, "bad channels")


class Jump(Guard):
    """The reference steps as no temperature in this source can; a single step is only quarantined."""

    name = "jump"
    hazard = "the reference jumps: a spike, a wrong reply, a loose lead"
    reads = "resistance"
    reaction = Reaction.HOLD
    latched = False
    why = "nothing may be decided on a value that cannot be a temperature"
    thresholds = {"step_k": Threshold(2.0, "K", "lower"), "readings": Threshold(3, "in a row", "lower")}
    roles: tuple[str, ...] = ("reference",)

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._last: dict[int, tuple[float, float]] = {}
        self._standing: defaultdict[int, Standing] = defaultdict(Standing)

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when three readings in a row stand off from the last one believed."""
        read = _read(observation, situation, *self.roles)
        if read is None or read[1].reading.value is None or out_of_band(*read):
            return None
        facts = read[0]
        temperature_c = situation.tracks[facts.channel].newest_c
        when_s, believed_c = self._last.get(facts.channel, (observation.when_s, temperature_c))
        fastest = max(situation.limits.heating_k_per_min, situation.limits.cooling_k_per_min)
        possible_k = self.figures["step_k"] + 1.5 * fastest * (observation.when_s - when_s) / 60.0
        step_k = temperature_c - believed_c
        standing = self._standing[facts.channel]
        standing.update(not abs(step_k) <= possible_k, situation.now_s)
        if standing.count == 0:
            self._last[facts.channel] = (observation.when_s, temperature_c)
        if standing.count < self.figures["readings"]:
            return None
        sentence = f"{facts.name} stepped by {step_k:+.1f} K, possible here were {possible_k:.1f} K"
        return self.verdict(sentence, step_k, possible_k, "K", facts.channel)


class ItemJump(Jump):
    """The same on a thermometer under test: the others go on."""

    name = "item_jump"
    hazard = "a thermometer under test jumps: a loose lead, or it was moved"
    reaction = Reaction.MARK
    latched = True
    why = "one loose lead must not cost the others their night; it is left out where it stays away"
    roles = ITEM_ROLES
