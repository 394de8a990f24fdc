"""What the instruments beside the heat source say: interlocks of stirrer and level, a second thermometer."""

from __future__ import annotations

from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Monitored, Observation, Source
from drivers.quantities import Reading


def stirrer_stands(look: Source, situation: Situation) -> bool:
    """True when the heat source or an interlock says so, or the measured speed is below the bench's."""
    speed = situation.measured("stirrer_speed")
    return (
        look.status.stirrer_on is False
        or situation.interlock("stirrer") is False
        or _below(speed, situation.limits.minimum_stirrer_speed_per_min)
    )


def fluid_is_low(look: Source, situation: Situation) -> bool:
    """True when the heat source or an interlock says so, or the measured level is below the bench's."""
    level = situation.measured("level")
    return (
        look.status.level_low is True
        or situation.interlock("level_low") is True
        or _below(level, situation.limits.minimum_level_mm)
    )


def _below(reading: Reading | None, minimum: float | None) -> bool:
    # A sensor that shows nothing where a minimum is set does not show that all is well.
    if reading is None or minimum is None:
        return False
    return reading.value is None or not reading.value >= minimum


class InterlocksLost(Guard):
    """The interlocks of the bench stopped answering."""

    name = "interlocks_lost"
    hazard = "nobody can say any more whether the stirrer turns and the tank is full"
    reads = "both"
    reaction = Reaction.PARK
    why = "heat goes on only while its interlocks are known to be closed"
    thresholds = {"silent_s": Threshold(30.0, "s", "lower")}

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when their newest look is older than allowed; a bench without them has none to lose."""
        if situation.interlocks is None:
            return None
        age_s, limit_s = situation.now_s - situation.interlocks.when_s, self.figures["silent_s"]
        if age_s <= limit_s:
            return None
        sentence = f"the interlocks have not answered for {age_s:.0f} s (allowed {limit_s:.0f} s)"
        return self.verdict(sentence, age_s, limit_s, "s")


class ReadoutOverLimit(Guard):
    """A thermometer that hangs on neither bridge nor controller is hotter than anything may be."""

    name = "readout_over_limit"
    hazard = "the independent readout shows more than the lowest rating allows"
    reads = "monitored"
    reaction = Reaction.CUT
    why = "bridge and controller may be wrong together; this one shares nothing with them"
    thresholds = {"looks": Threshold(2, "looks in a row", "lower")}

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks at the second look in a row; a sensor that shows nothing says nothing."""
        if not isinstance(observation, Monitored) or observation.role != "readout":
            return None
        limit_c = situation.limits.highest_c
        shown = [r.value for r in observation.readings.values() if r.value is not None]
        hottest_c = max(shown, default=limit_c)
        self.standing.update(not hottest_c <= limit_c, observation.when_s)
        if self.standing.count < self.figures["looks"]:
            return None
        sentence = (
            f"the independent readout shows {hottest_c:.1f} °C, above {limit_c:.1f} °C "
            f"({situation.limits.highest_set_by})"
        )
        return self.verdict(sentence, hottest_c, limit_c, "°C")
