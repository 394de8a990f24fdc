"""What stands in for clock and instruments while a record is replayed: they answer as it is written.

Where the run parts from the record, all of them can go live: from there on time passes as the event loop's
does, and other instruments answer.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from functools import partial

from daemon.actions import Action
from daemon.executor.executor import Executor
from daemon.executor.instruments import Device, Instruments
from daemon.executor.reactions import Reactions
from daemon.guards.panel import GuardPanel
from daemon.guards.verdict import Reaction
from daemon.journal.journal import Journal
from daemon.observations import Observation, Source
from daemon.states import State
from drivers.clock import Clock


class RecordedClock(Clock):
    """Stands at the record's time; whoever sleeps is woken by the replay."""

    def __init__(self) -> None:
        super().__init__()
        self.now_s = self.now_utc_s = 0.0
        self._sleepers: list[asyncio.Future[None]] = []
        self._live_since_s: float | None = None

    def go_live(self) -> None:
        """From now on time passes as the event loop's does; whoever slept is woken."""
        self._live_since_s = asyncio.get_running_loop().time()
        self.wake()

    def monotonic_s(self) -> float:
        """Time of the entry that the replay has come to, in s; live, that and what has passed since."""
        return self.now_s + self._passed_s()

    def utc_s(self) -> float:
        """Its UTC stamp in s; live, that and what has passed since."""
        return self.now_utc_s + self._passed_s()

    def suspended_s(self) -> float:
        """No computer slept while a record was replayed."""
        return 0.0

    def _passed_s(self) -> float:
        since_s = self._live_since_s
        return 0.0 if since_s is None else asyncio.get_running_loop().time() - since_s

    async def sleep(self, seconds: float) -> None:
        """Wait until the replay finds nothing else to do; live, so many seconds."""
        if self._live_since_s is not None:
            await super().sleep(seconds)
            return
        sleeper: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._sleepers.append(sleeper)
        await sleeper

    def wake(self) -> None:
        """Let all sleepers go on."""
        sleepers, self._sleepers = self._sleepers, []
        for sleeper in sleepers:
            if not sleeper.done():
                sleeper.set_result(None)


@dataclass
class Desk:
    """Where an action waits for its recorded answer; `asked_as` is the entry that recorded it.

    `live` are the instruments that answer once the run has gone live.
    """

    asked_as: int = -1
    answer: asyncio.Future[Observation | None] | None = None
    live: Instruments | None = None
    opened: asyncio.Event = field(default_factory=asyncio.Event)

    @property
    def waiting(self) -> bool:
        """True while an action waits here."""
        return self.answer is not None and not self.answer.done()

    def give(self, observation: Observation) -> None:
        """The recorded answer; only while something waits."""
        assert self.answer is not None
        self.answer.set_result(observation)

    def go_live(self, instruments: Instruments) -> None:
        """From now on these answer; an action that waits is carried out by them."""
        self.live = instruments
        self.opened.set()
        if self.waiting and self.answer is not None:
            self.answer.set_result(None)


@dataclass(frozen=True)
class RecordedInstruments(Instruments):
    """Instruments of which only the abilities are used: every answer comes from the record, or is live."""

    desk: Desk = field(default_factory=Desk)

    @property
    def devices(self) -> list[tuple[str, Device]]:
        """Every instrument under the name of its role."""
        return super().devices if self.desk.live is None else self.desk.live.devices

    async def carry_out(self, action: Action) -> Observation:
        """Wait for what was observed that night; live, carry it out."""
        if self.desk.live is None:
            self.desk.answer = asyncio.get_running_loop().create_future()
            observation = await self.desk.answer
            if observation is not None:
                return observation
        assert self.desk.live is not None
        return await self.desk.live.carry_out(action)

    async def look(self) -> Source:
        """One look at the live heat source; raises InstrumentError."""
        assert self.desk.live is not None, "the watch of a replay is the record's"
        return await self.desk.live.look()


class ReplayedExecutor(Executor):
    """The executor itself; only its watch is the record's, until the run goes live."""

    def __init__(
        self,
        instruments: RecordedInstruments,
        journal: Journal,
        panel: GuardPanel,
        reactions: Reactions,
        state: State,
    ) -> None:
        super().__init__(instruments, journal, panel, reactions, state=state)
        self._desk = instruments.desk

    def saw(self, observation: Observation) -> None:
        """The watch saw this."""
        self._observe(observation, 0)

    def guardian_said(self, sentence: str) -> None:
        """The guardian fell silent that night, or found fault: what it said came from outside the run."""
        self._verdict("guardian", Reaction.PARK, sentence)
        self._demand(Reaction.PARK, sentence)

    async def _watch(self) -> None:
        await self._desk.opened.wait()
        assert self._desk.live is not None
        watches = [partial(self._watch_beside, monitor) for monitor in self._desk.live.monitors]
        await asyncio.gather(super()._watch(), *(self._guarded("watch", watch) for watch in watches))
