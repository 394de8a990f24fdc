"""The executor: carries out a procedure's actions, journals everything first, lets the guards judge it.

Three things run on one loop: the driver (the procedure or the reaction that took its place), the
watch (looks at the heat source at its own cadence) and whoever speaks an operator's word. A demand
stronger than the present state stops the driver at once and another script takes over.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Coroutine
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from daemon.actions import Action, AskPerson, Command, HearPerson, Mark, to_body
from daemon.executor.alarm import Alarm
from daemon.executor.asking import Asking
from daemon.executor.instruments import Instruments, Monitor
from daemon.executor.reactions import Reactions
from daemon.executor.rounds import Rounds, failed
from daemon.guardian.heart import Heart
from daemon.guards.panel import GuardPanel
from daemon.guards.verdict import Reaction
from daemon.journal.entry import Kind
from daemon.journal.journal import Journal
from daemon.journal.sinks import StorageFault
from daemon.observations import Done, Observation, Resistance, Source
from daemon.observations import to_body as observation_body
from daemon.procedure.script import COMMAND_FAILED, CommandFailed, GivenUp, Procedure, Resoak, RunEnded
from daemon.states import HALTED, State, change
from drivers.errors import InstrumentError

Answer = TypeVar("Answer")

_STATE_OF = {Reaction.HOLD: State.HOLDING, Reaction.PARK: State.PARKING, Reaction.CUT: State.CUT}
_STRENGTH = {State.RUNNING: 0, State.HOLDING: 2, State.PARKING: 3, State.CUT: 4}
_CALLS = frozenset({State.HOLDING, State.PARKING, State.CUT})
_SILENT_S = 10.0
_AFTER_BREAKING_S = 1.0


class Executor:
    """Runs one procedure on one bench to its end, or down to a safe state."""

    def __init__(
        self,
        instruments: Instruments,
        journal: Journal,
        panel: GuardPanel,
        reactions: Reactions,
        *,
        state: State = State.IDLE,
        watch_interval_s: float = 1.0,
        heart: Heart | None = None,
        folder: Path | None = None,
    ) -> None:
        self._instruments = instruments
        self._clock = instruments.clock
        self._journal = journal
        self._panel = panel
        self._reactions = reactions
        self._watch_interval_s = watch_interval_s
        self._rounds = Rounds(instruments, journal, folder)
        self._alarm = Alarm()
        self._asking = Asking(instruments.clock)
        self._driver: asyncio.Task[bool] | None = None
        self._demanded: tuple[State, str] | None = None
        self._held_by_person = False
        self._given_up = ""
        self._heart = heart
        self._cycle = self._judged = 0
        self._newest_s = float("-inf")
        self._unguarded = ""
        self.state = state

    async def run(self, procedure: Procedure, resoak: Resoak | None = None) -> State:
        """Drive the procedure to its end; returns the last state. With `resoak` it goes on from a feed."""
        self._enter(State.RUNNING, "resumed" if resoak else "started")
        return await self._watched(procedure, resoak)

    async def bring_down(self, cause: str, state: State = State.PARKING) -> State:
        """Do nothing but park (or cut) after an interruption; returns the last state."""
        self._enter(state, cause)
        return await self._watched(self._reactions.script(state), None)

    async def _watched(self, script: Procedure, throw: Resoak | None) -> State:
        self._newest_s = self._clock.monotonic_s()
        watches = [asyncio.create_task(self._guarded("watch", self._watch))]
        for monitor in self._instruments.monitors:
            watch = partial(self._watch_beside, monitor)
            watches.append(asyncio.create_task(self._guarded(f"watch of the {monitor.role}", watch)))
        try:
            return await self._conduct(script, throw)
        finally:
            for task in watches:
                task.cancel()
            await asyncio.gather(*watches, return_exceptions=True)

    def word(self, word: str, who: str, reason: str = "") -> bool:
        """An operator's word: hold, release, halt, cut, acknowledge, proceed. Returns whether it had effect.

        Anyone may stop; nothing said here leads from a halt back to heat.
        """
        self._journal.append(Kind.OPERATOR, {"word": word, "who": who, "reason": reason})
        match word:
            case "hold" if self._demand(Reaction.HOLD, f"{who} said hold"):
                self._held_by_person = True
                return True
            case "halt":
                return self._demand(Reaction.PARK, f"{who} said halt")
            case "cut":
                return self._demand(Reaction.CUT, f"{who} said cut")
            case "acknowledge":
                return self._acknowledge()
            case "proceed":
                return self._asking.proceed()
            case "release" if self.state is State.HOLDING and self._demanded is None:
                self._panel.release()
                self._release()
                return True
        return False

    def _acknowledge(self) -> bool:
        # A hold that was acknowledged stays a hold: only a release leads back to heat.
        self._held_by_person = self._held_by_person or self.state is State.HOLDING
        silenced = self._alarm.silence()
        return bool(self._panel.acknowledge()) or silenced

    async def _conduct(self, procedure: Procedure, resoak: Resoak | None) -> State:
        script, throw = procedure, resoak
        while True:
            ended = await self._stage(script, throw)
            if ended and self.state is State.RUNNING:
                return self._enter(State.FINISHED, "the plan is done")
            if ended and self._given_up:
                return self._enter(State.INTERRUPTED, self._given_up)
            if ended and self.state in (State.PARKING, State.CUT):
                return self._enter(State.PARKED, self._reactions.at_rest(self.state))
            if self._demanded is None:
                # A reaction broke and nothing stronger is left: the same again.
                await self._clock.sleep(_AFTER_BREAKING_S)
            script, throw = self._next_script(procedure)

    def _next_script(self, procedure: Procedure) -> tuple[Procedure, Resoak | None]:
        """Who drives next: the procedure again after a hold, or the reaction that was demanded."""
        demanded, self._demanded = self._demanded, None
        if demanded is None or demanded[0] is not State.RUNNING:
            if demanded is not None:
                self._enter(*demanded)
            standing = {verdict.guard for verdict in self._panel.standing()}
            return self._reactions.script(self.state, standing), None
        reason = demanded[1]
        self._journal.append(Kind.INTERRUPTION, {"reason": reason})
        self._enter(State.RUNNING, reason)
        # What spoke between the release and now could not ask for a hold of a run that was held.
        for verdict in self._panel.standing():
            self._demand(verdict.reaction, f"{verdict.guard}: {verdict.sentence}")
        return procedure, Resoak(reason)

    async def _stage(self, script: Procedure, throw: Resoak | None) -> bool:
        """Let one script drive until it ends (True) or a demand stops it (False)."""
        self._driver = asyncio.create_task(self._drive(script, throw))
        try:
            return await self._driver
        except asyncio.CancelledError:
            task = asyncio.current_task()
            if self._demanded is None or (task is not None and task.cancelling()):
                raise
            return False
        finally:
            self._driver = None

    async def _drive(self, script: Procedure, throw: Resoak | None) -> bool:
        try:
            action = script.throw(throw) if throw is not None else next(script)
            while self._demanded is None:
                observation = await self._step(action)
                if self._demanded is not None:
                    break
                action = script.send(observation)
        except StopIteration:
            return True
        except GivenUp as end:
            self._given_up = str(end)
            return True
        except CommandFailed as failure:
            self._distrust(str(failure))
        except (StorageFault, RunEnded) as failure:
            self._demand(Reaction.PARK, str(failure))
        except Exception as error:  # noqa: BLE001  whatever breaks in a script must end cold
            self._broken("procedure", error)
        return False

    async def _step(self, action: Action) -> Observation:
        """Write the action down, do it, write down what came back, let the guards judge it."""
        by = str(self.state)
        if isinstance(action, Mark):
            body = {"mark": action.mark, **action.data, "by": by}
            self._journal.append(Kind.MILESTONE, body)
            if action.mark == COMMAND_FAILED:
                self._distrust(str(action.data["reason"]))
            return Done(self._journal.stamped_s)
        seq = self._journal.append(Kind.ACTION, to_body(action) | {"by": by})
        if isinstance(action, Command):
            self._panel.situation.command(action, self._journal.stamped_s)
            await self._written()
        if isinstance(action, AskPerson | HearPerson):
            observation = self._asking.carry_out(action)
        else:
            observation = await self._instruments.carry_out(action)
        self._observe(observation, seq)
        await self._written()
        return observation

    async def _written(self) -> None:
        # A run goes no further on unwritten data; a halt, also one just demanded, never waits for the disk.
        if self.state not in HALTED and self._demanded is None:
            await self._journal.committed()

    def _observe(self, observation: Observation, of: int) -> None:
        self._journal.append(Kind.OBSERVATION, {"of": of, **observation_body(observation)})
        for verdict in self._panel.judge(observation):
            self._journal.append(Kind.VERDICT, verdict.body())
            self._demand(verdict.reaction, f"{verdict.guard}: {verdict.sentence}")
        for verdict in self._panel.cleared():
            self._journal.append(Kind.CLEARED, {"guard": verdict.guard, "channel": verdict.channel})
        self._judged += 1
        if _is_fresh(observation):
            self._newest_s = observation.when_s
        self._repeat_alarm()
        if self.state is State.HOLDING and self._demanded is None:
            self._end_of_hold()

    def _repeat_alarm(self) -> None:
        if self._alarm.due(self._panel.situation.now_s):
            body = {"mark": "alarm", "cause": self._alarm.cause, "times": self._alarm.times}
            self._journal.append(Kind.MILESTONE, body | {"by": str(self.state)})

    def _end_of_hold(self) -> None:
        standing = self._panel.demand()
        if not self._held_by_person and (standing is None or standing < Reaction.HOLD):
            self._release("what caused the hold has cleared by itself")

    def _release(self, reason: str = "released by a person") -> None:
        self._held_by_person = False
        self._demanded = (State.RUNNING, reason)
        self._stop_driver()

    def _demand(self, reaction: Reaction, cause: str) -> bool:
        """Ask for a reaction; only a stronger one than the present state has an effect."""
        state = _STATE_OF.get(reaction)
        if state is None or self.state not in _STRENGTH:
            return False
        present = max(_STRENGTH[self.state], _STRENGTH[self._demanded[0]] if self._demanded else 0)
        if _STRENGTH[state] <= present:
            return False
        self._demanded = (state, cause)
        self._stop_driver()
        return True

    def _stop_driver(self) -> None:
        if self._driver is not None and self._driver is not asyncio.current_task():
            self._driver.cancel()

    def _enter(self, state: State, cause: str) -> State:
        old, self.state = self.state, change(self.state, state)
        self._journal.append(Kind.STATE, {"from": old, "to": state, "cause": cause})
        now_s = self._journal.stamped_s
        self._panel.situation.enter(state, now_s)
        if state in _CALLS:
            self._alarm.raise_(cause, now_s)
        else:
            self._alarm.silence()
        return state

    def _distrust(self, reason: str) -> None:
        """The way to the heat source is in doubt: parking would be commanded over that same way.

        While the source is only silent, the run waits for its answer; the guards of silence decide then.
        """
        situation = self._panel.situation
        silent = situation.now_s - situation.source.when_s > _SILENT_S
        reaction = Reaction.HOLD if silent and self.state not in HALTED else Reaction.CUT
        self._verdict("command_path", reaction, reason)
        self._demand(reaction, f"command_path: {reason}")

    def _broken(self, part: str, error: Exception) -> None:
        reason = f"the {part} failed ({type(error).__name__}: {error})"
        self._verdict(part, Reaction.PARK, reason)
        if not self._demand(Reaction.PARK, reason):
            self._demand(Reaction.CUT, reason)

    def _verdict(self, guard: str, reaction: Reaction, sentence: str) -> None:
        body: dict[str, Any] = {"guard": guard, "reaction": reaction.word, "sentence": sentence}
        body |= {"value": 1.0, "limit": 0.0, "unit": "failures", "channel": 0, "latched": True}
        self._journal.append(Kind.VERDICT, body)

    async def _guarded(self, part: str, watch: Callable[[], Awaitable[None]]) -> None:
        while True:
            try:
                await watch()
            except Exception as error:  # noqa: BLE001  a watch that broke must not leave heat unwatched
                self._broken(part, error)
                await self._clock.sleep(self._watch_interval_s)

    async def _watch_beside(self, monitor: Monitor) -> None:
        """Look at one instrument beside the heat source, each at its own pace: none holds up another."""
        next_s = self._clock.monotonic_s()
        while True:
            try:
                observation: Observation = await self._instruments.look_beside(monitor)
            except InstrumentError as error:
                observation = failed(self._clock.monotonic_s(), monitor.role, error)
            self._observe(observation, 0)
            next_s = max(next_s + monitor.every_s, self._clock.monotonic_s())
            await self._clock.sleep_until(next_s)

    async def _watch(self) -> None:
        next_s = self._clock.monotonic_s()
        observe: Callable[[Observation, int], None] = self._observe
        while True:
            try:
                seen = await self._beating(self._instruments.look())
                observe(seen, 0)
                if self._instruments.lease is not None and _is_fresh(seen):
                    await self._beating(self._instruments.lease.renew())
            except InstrumentError as error:
                observe(failed(self._clock.monotonic_s(), "source", error), 0)
            await self._rounds.go(observe)
            self._end_of_cycle()
            next_s = max(next_s + self._watch_interval_s, self._clock.monotonic_s())
            await self._clock.sleep_until(next_s)
            self._rounds.note_late(self._clock.monotonic_s() - next_s)

    async def _beating(self, asked: Coroutine[Any, Any, Answer]) -> Answer:
        """Ask the source. Cleaning a link outlasts a cycle: meanwhile cycles end with nothing new."""
        if self._heart is None:
            return await asked
        asking = asyncio.create_task(asked)
        try:
            while not (await asyncio.wait({asking}, timeout=self._watch_interval_s))[0]:
                self._end_of_cycle()
            return asking.result()
        finally:
            asking.cancel()
            await asyncio.gather(asking, return_exceptions=True)

    def _end_of_cycle(self) -> None:
        """The only place that tells the guardian "alive": said from elsewhere it would hide a hang."""
        if self._heart is None:
            return
        self._cycle += 1
        age_s = self._clock.monotonic_s() - self._newest_s
        unguarded = self._heart.beat(self._cycle, self._judged, age_s)
        if unguarded and not self._unguarded:
            self._unguarded = unguarded
            self._verdict("guardian", Reaction.PARK, unguarded)
            self._demand(Reaction.PARK, unguarded)


def _is_fresh(observation: Observation) -> bool:
    match observation:
        case Resistance():
            return observation.reading.value is not None
        case Source(_, status):
            return status.temperature.value is not None
    return False
