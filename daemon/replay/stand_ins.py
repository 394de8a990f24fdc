"""What stands in for clock and instruments while a record is replayed: they answer as it is written."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field

from daemon.actions import Action
from daemon.executor.executor import Executor
from daemon.executor.instruments import Instruments
from daemon.guards.verdict import Reaction
from daemon.observations import Observation
from drivers.clock import Clock


class RecordedClock(Clock):
    """Stands at the record's time; whoever sleeps is woken by the replay."""

    def __init__(self) -> None:
        super().__init__()
        self.now_s = self.now_utc_s = 0.0
        self._sleepers: list[asyncio.Future[None]] = []

    def monotonic_s(self) -> float:
        """Time of the entry that the replay has come to, in s."""
        return self.now_s

    def utc_s(self) -> float:
        """Its UTC stamp in s."""
        return self.now_utc_s

    async def sleep(self, seconds: float) -> None:
        """Wait until the replay finds nothing else to do."""
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
    """Where an action waits for its recorded answer; `asked_as` is the entry that recorded it."""

    asked_as: int = -1
    answer: asyncio.Future[Observation] | None = None

    @property
    def waiting(self) -> bool:
        """True while an action waits here."""
        return self.answer is not None and not self.answer.done()

    def give(self, observation: Observation) -> None:
        """The recorded answer; only while something waits."""
        assert self.answer is not None
        self.answer.set_result(observation)


@dataclass(frozen=True)
class RecordedInstruments(Instruments):
    """Instruments of which only the abilities are used: every answer comes from the record."""

    desk: Desk = field(default_factory=Desk)

    async def carry_out(self, action: Action) -> Observation:
        """Wait for what was observed that night."""
        self.desk.answer = asyncio.get_running_loop().create_future()
        return await self.desk.answer


class ReplayedExecutor(Executor):
    """The executor itself; only its watch is the record's."""

    def saw(self, observation: Observation) -> None:
        """The watch saw this."""
        self._observe(observation, 0)

    def guardian_said(self, sentence: str) -> None:
        """The guardian fell silent that night, or found fault: what it said came from outside the run."""
        self._verdict("guardian", Reaction.PARK, sentence)
        self._demand(Reaction.PARK, sentence)

    async def _watch(self) -> None:
        await asyncio.get_running_loop().create_future()
