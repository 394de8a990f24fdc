"""All guards of a run at work: who speaks, who has spoken, and what is demanded now."""

from __future__ import annotations

from dataclasses import dataclass

from daemon.guards.guard import Guard
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Machine, Monitored, Observation, Resistance, Source

_Key = tuple[str, int]
HOUR_S = 3600.0


@dataclass
class _Active:
    verdict: Verdict
    seen_s: float
    guard: Guard


class GuardPanel:
    """Lets the guards judge each observation once; a verdict that stands is reported once.

    The first verdict with the strongest reaction is kept as the cause; what follows is consequence.
    """

    def __init__(self, guards: list[Guard], situation: Situation) -> None:
        self.situation = situation
        self.cause: Verdict | None = None
        self._active: dict[_Key, _Active] = {}
        self._spoken_s: dict[_Key, list[float]] = {}
        self._source = [g for g in guards if g.reads in ("source", "both")]
        self._resistance = [g for g in guards if g.reads in ("resistance", "both")]
        self._machine = [g for g in guards if g.reads == "machine"]
        self._monitored = [g for g in guards if g.reads == "monitored"]
        self._all = [g for g in guards if g.reads != "machine"]

    def judge(self, observation: Observation) -> list[Verdict]:
        """New verdicts of this observation, strongest first; the situation is brought up to date."""
        self.situation.observe(observation)
        verdicts = self._new_verdicts(observation)
        verdicts.sort(key=lambda verdict: -verdict.reaction)
        for verdict in verdicts:
            if self.cause is None or verdict.reaction > self.cause.reaction:
                self.cause = verdict
        return verdicts

    def cleared(self) -> list[Verdict]:
        """Verdicts that have cleared by themselves since the last call."""
        now_s = self.situation.now_s
        gone = [
            key
            for key, active in self._active.items()
            if not active.verdict.latched and now_s - active.seen_s > active.guard.clears_after_s
        ]
        verdicts = [self._active.pop(key).verdict for key in gone]
        if verdicts:
            self._note_distrust()
        return verdicts

    def acknowledge(self) -> list[Verdict]:
        """Forget what stands, but not the first cause; the conditions speak again if they are still there."""
        verdicts = [active.verdict for active in self._active.values()]
        self._active.clear()
        self._note_distrust()
        return verdicts

    def release(self) -> list[Verdict]:
        """A person ended a hold: what led to it is over and done with."""
        self.cause = None
        return self.acknowledge()

    def standing(self) -> list[Verdict]:
        """Every verdict that stands now."""
        return [active.verdict for active in self._active.values()]

    def demand(self) -> Reaction | None:
        """The strongest reaction that stands now."""
        return max((active.verdict.reaction for active in self._active.values()), default=None)

    def _asked(self, observation: Observation) -> list[Guard]:
        if isinstance(observation, Source):
            return self._source
        if isinstance(observation, Resistance):
            return self._resistance
        if isinstance(observation, Monitored):
            return self._monitored
        return self._machine if isinstance(observation, Machine) else self._all

    def _new_verdicts(self, observation: Observation) -> list[Verdict]:
        situation, verdicts = self.situation, []
        for guard in self._asked(observation):
            try:
                verdict = guard.judge(observation, situation)
            except Exception as error:  # noqa: BLE001  a guard that throws must never count as content
                verdict = _broken(guard, error)
            if verdict is not None and (new := self._new(guard, verdict)) is not None:
                verdicts.append(new)
        return verdicts

    def _new(self, guard: Guard, verdict: Verdict) -> Verdict | None:
        key, now_s = (verdict.guard, verdict.channel), self.situation.now_s
        if key in self._active:
            self._active[key].seen_s = now_s
            return None
        spoken = [s for s in self._spoken_s.get(key, []) if now_s - s < HOUR_S] + [now_s]
        self._spoken_s[key] = spoken
        if len(spoken) >= 3 and not verdict.latched:
            verdict = _latched(verdict)
        self._active[key] = _Active(verdict, now_s, guard)
        self._note_distrust()
        return verdict

    def _note_distrust(self) -> None:
        self.situation.distrusted = {a.guard.distrusts for a in self._active.values() if a.guard.distrusts}


def _broken(guard: Guard, error: Exception) -> Verdict:
    sentence = f"guard {guard.name} failed itself ({type(error).__name__}: {error}); parked to be safe"
    return Verdict(guard.name, Reaction.PARK, sentence, 1.0, 0.0, "failures")


def _latched(verdict: Verdict) -> Verdict:
    # Three times in one hour is no passing trouble any more.
    reaction = max(verdict.reaction, Reaction.HOLD) if verdict.reaction > Reaction.MARK else verdict.reaction
    sentence = f"{verdict.sentence} (third time within an hour)"
    return Verdict(
        verdict.guard, reaction, sentence, verdict.value, verdict.limit, verdict.unit, verdict.channel, True
    )
