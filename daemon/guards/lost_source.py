"""The controller does not answer: what it does meanwhile, and when it comes back, nobody knows."""

from __future__ import annotations

from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Failed, Observation, Source

_REPLACED, _RESTARTED = "WrongIdentity", "Restarted"


class SourceCameBack(Guard):
    """It answers again after a silence in which it may have lost its power."""

    name = "source_came_back"
    hazard = "the controller answers again after a long silence: it may have been without power"
    reads = "source"
    reaction = Reaction.PARK
    why = "many controllers return to the last set-point by themselves; resuming is a person's decision"
    thresholds = {"silent_s": Threshold(30.0, "s", "lower")}

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._last_s: float | None = None

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks at the first look after the silence."""
        if not isinstance(observation, Source) or observation.status.temperature.value is None:
            return None
        last_s, self._last_s = self._last_s, observation.when_s
        if last_s is None or not observation.when_s - last_s > self.figures["silent_s"]:
            return None
        silent_s = observation.when_s - last_s
        sentence = (
            f"the controller answers again after {silent_s:.0f} s; it may have lost its power meanwhile"
        )
        return self.verdict(sentence, silent_s, self.figures["silent_s"], "s")


class SourceLost(Guard):
    """It has been silent for so long that waiting is no answer any more."""

    name = "source_lost"
    hazard = "the controller stays silent: it heats unseen and cannot be commanded"
    reads = "both"
    reaction = Reaction.CUT
    distrusts = "controller"
    why = "the command path itself is gone: heat off by whatever way is left, tried again without end"
    thresholds = {"silent_s": Threshold(600.0, "s", "lower")}

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when the newest look is ten minutes old."""
        if not situation.source.seen():
            return None
        silent_s = situation.now_s - situation.source.when_s
        if silent_s <= self.figures["silent_s"]:
            return None
        sentence = (
            f"the controller has not answered for {silent_s / 60.0:.0f} min; if its heater must stop now, "
            "open the contactor or the main switch by hand"
        )
        return self.verdict(sentence, silent_s, self.figures["silent_s"], "s")


class _SaidOfAnInstrument(Guard):
    """Speaks at once when an instrument failed in one way."""

    error = ""
    unit = ""

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks at once."""
        if not isinstance(observation, Failed) or observation.error != self.error:
            return None
        return self.verdict(f"the {observation.role}: {observation.reason}", 1.0, 0.0, self.unit)


class InstrumentRestarted(_SaidOfAnInstrument):
    """An instrument says that it has been on for a shorter time than the run has known it."""

    name = "restarted"
    hazard = "an instrument was off for a moment and looks as before: ramp and settings may be lost"
    reads = "both"
    reaction = Reaction.HOLD
    why = "what brought it down may come again, and its settings are not surely the ones commanded"
    error, unit = _RESTARTED, "restarts"


class Replaced(_SaidOfAnInstrument):
    """Another instrument answers than the one the run began with."""

    name = "replaced"
    hazard = "an instrument was exchanged or restarted under another identity"
    reads = "both"
    reaction = Reaction.HOLD
    why = "its settings are not the ones that were checked; a person must look"
    error, unit = _REPLACED, "replies"


class BothUntrusted(Guard):
    """Neither the reference nor the controller can be believed."""

    name = "both_untrusted"
    hazard = "no trusted temperature is left"
    reads = "both"
    reaction = Reaction.CUT
    why = "without eyes there is no controlled cooling: heat off, natural cooling"

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks while verdicts against both stand."""
        if len(situation.distrusted) < 2:
            return None
        return self.verdict("reference and controller are both not to be trusted", 2.0, 1.0, "instruments")
