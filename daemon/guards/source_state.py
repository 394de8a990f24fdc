"""What heat source and interlocks report: stirrer, level; the source's own cut-out and heater switch."""

from __future__ import annotations

from daemon.guards.guard import Guard, Threshold
from daemon.guards.monitored import fluid_is_low, stirrer_stands
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Source

_LOOKS = {"looks": Threshold(2, "looks in a row", "lower")}
_HOT_C = 60.0
_HEATING_PERCENT = 1.0
_SETTLING_S = 6.0


class _Reported(Guard):
    """A condition of the newest look that has stood for two looks."""

    reads = "source"
    thresholds = _LOOKS
    sentence = ""

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks at the second look in a row."""
        if not isinstance(observation, Source):
            return None
        if not self.stands(observation, situation):
            self.standing.count = 0
            return None
        self.standing.count += 1
        count, limit = self.standing.count, self.figures["looks"]
        return self.verdict(self.sentence, count, limit, "looks") if count >= limit else None

    def stands(self, look: Source, situation: Situation) -> bool:
        """Whether the condition is there at this look."""
        raise NotImplementedError


class StirrerStopped(_Reported):
    """The stirrer stands still while the bath is hot or heated."""

    name = "stirrer_stopped"
    hazard = "the stirrer stands still in a bath that is hot or being heated"
    reaction = Reaction.CUT
    why = "the fluid boils at the heater and smokes, and no reading is true any more"
    sentence = "the stirrer stands still and the bath is hot or heated"

    def stands(self, look: Source, situation: Situation) -> bool:
        """Stopped, and above 60 °C or with output."""
        return stirrer_stands(look, situation) and _hot_or_heated(look, situation)


class StirrerStoppedCold(_Reported):
    """The stirrer stands still in a cool, unheated bath."""

    name = "stirrer_stopped_cold"
    hazard = "the stirrer stands still in a cool bath"
    reaction = Reaction.HOLD
    why = "layers form; nothing is in danger yet, and nothing can be measured"
    sentence = "the stirrer stands still"

    def stands(self, look: Source, situation: Situation) -> bool:
        """Stopped, below 60 °C and without output."""
        return stirrer_stands(look, situation) and not _hot_or_heated(look, situation)


class LevelLow(_Reported):
    """The level switch reports too little fluid."""

    name = "level_low"
    hazard = "too little fluid: a leak, or evaporation"
    reaction = Reaction.CUT
    why = "a heater that runs dry ignites the vapour"
    sentence = "the level switch reports too little fluid"

    def stands(self, look: Source, situation: Situation) -> bool:
        """Reported low."""
        return fluid_is_low(look, situation)


class OverTemperature(_Reported):
    """The source's own over-temperature cut-out has tripped."""

    name = "over_temperature"
    hazard = "the source's own cut-out has tripped"
    reaction = Reaction.CUT
    why = "the layer below has acted: it may only be reset by a person who knows why"
    sentence = "the source's own over-temperature cut-out has tripped; find out why before resetting it"

    def stands(self, look: Source, situation: Situation) -> bool:
        """Reported tripped."""
        return look.status.over_temperature is True


class HeaterSwitchReadback(_Reported):
    """The heater switch is not as commanded."""

    name = "heater_switch_readback"
    hazard = "the heater switch is not as commanded: front panel, another program, or a restart"
    reaction = Reaction.PARK
    why = "someone or something else drives the heat source"
    sentence = "the heater switch does not read as it was commanded: somebody else switched it"

    def stands(self, look: Source, situation: Situation) -> bool:
        """Read back differently, six seconds after a command."""
        commanded, read = situation.heater_commanded, look.status.heater_on
        if commanded is None or read is None or read is commanded:
            return False
        return situation.now_s - situation.switched_at_s >= _SETTLING_S


def _hot_or_heated(look: Source, situation: Situation) -> bool:
    output = look.status.output_percent
    return not situation.source.temperature_c <= _HOT_C or (output is not None and output > _HEATING_PERCENT)
