"""A recorded night through today's procedure, guards and reactions: are the same decisions made?

The executor itself runs; its clock stands at the record's time, its instruments answer as recorded, and its
journal compares. Which of two things came first is the record's to say, so that neither the wire's nor the
disk's chance of that night can make a difference.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daemon.executor.instruments import Instruments
from daemon.executor.reactions import Reactions
from daemon.journal.entry import Entry, Kind
from daemon.journal.read import read_entries
from daemon.night import Bench, Night, open_instruments
from daemon.observations import from_body
from daemon.procedure.script import Resoak
from daemon.replay.comparing import BrokenOff, ComparingJournal
from daemon.replay.difference import Difference
from daemon.replay.stand_ins import Desk, RecordedClock, RecordedInstruments, ReplayedExecutor
from daemon.replay.tape import Tape
from daemon.states import State
from plans.run_plan import RunPlan

_LONGEST_TURN = 1000


@dataclass(frozen=True, slots=True)
class Replayed:
    """What a replay found: `same` counts equal entries by kind; times in s after the record's first entry.

    `replayed_s` is how far the record still answered; `lasted_s` is how long it is.
    """

    differences: tuple[Difference, ...]
    same: Mapping[str, int]
    replayed_s: float
    lasted_s: float
    run: RunPlan

    @property
    def identical(self) -> bool:
        """True when every decision was made again, bit for bit."""
        return not self.differences

    @property
    def parted(self) -> Difference | None:
        """Where the run went another way; None when it did not."""
        last = self.differences[-1] if self.differences else None
        return last if last is not None and last.parts else None

    @property
    def decisions(self) -> int:
        """How many decisions came out the same: everything written that is neither reading nor word."""
        return sum(n for kind, n in self.same.items() if kind not in (Kind.OBSERVATION, Kind.OPERATOR))


def replay(record: Path, run: RunPlan) -> Replayed:
    """Replay a record under a run plan (its own, or a changed one); raises RecordError, BadProfile."""
    return asyncio.run(Replay(run, read_entries(record)).go())


GoOn = Callable[["Replay"], Awaitable[None]]
"""What shall happen with the run where it parts from the record, before it is let go of."""


class _Silent:
    """A far end that nobody will talk to."""

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        return []


class Replay:
    """One replay; made outside a loop, run once."""

    def __init__(self, run: RunPlan, entries: Iterable[Entry], go_on: GoOn | None = None) -> None:
        self._go_on = go_on
        self._tape = Tape(entries)
        first = self._tape.next
        self._start_s = first.when_s if first is not None else 0.0
        self.clock, self.desk = RecordedClock(), Desk()
        self.journal = ComparingJournal(self._tape, self.clock, self.desk, self._start_s)
        ends = {
            name: _Silent() for name in ("source", "bridge", "scanner", "readout", "ambient", "interlocks")
        }
        real = open_instruments(run, Bench(self.clock, ends, simulated=True))
        self.instruments = RecordedInstruments(real.source, real.bridge, self.clock, desk=self.desk)
        self.night = Night(run, self.instruments)
        self.executor = self._executor(State.IDLE)
        self._running: asyncio.Task[State] | None = None

    async def go(self) -> Replayed:
        """Replay to the end of the record, or to where the run parts; raises RecordError."""
        while (entry := self._tape.next) is not None and not self.journal.parted:
            differences = len(self.journal.differences)
            await self._step(entry)
            if len(self.journal.differences) != differences:
                await self._settle()  # what today's guards demand has its effect before more is seen
        reached_s, last_s = self.clock.now_s, self.clock.now_s
        if self.journal.parted and self._go_on is not None:
            await self._go_on(self)
        await self.stop()
        while (entry := self._tape.next) is not None:
            last_s = self._tape.take().when_s
        return Replayed(
            tuple(self.journal.differences),
            dict(self.journal.same),
            reached_s - self._start_s,
            last_s - self._start_s,
            self.night.run,
        )

    async def go_live(self, instruments: Instruments, within_s: float) -> bool:
        """Let the run go on by itself on other instruments; False when it does not end within so long."""
        self.clock.go_live()
        self.desk.go_live(instruments)
        if self._running is None:
            return True
        _, pending = await asyncio.wait({self._running}, timeout=within_s)
        return not pending

    async def stop(self) -> None:
        """Let go of the run where it stands, as a power cut does."""
        if self._running is not None:
            self._running.cancel()
            await asyncio.gather(self._running, return_exceptions=True)
            self._running = None

    def _executor(self, state: State) -> ReplayedExecutor:
        panel, reactions = self.night.panel, Reactions(self.night.script)
        return ReplayedExecutor(self.instruments, self.journal, panel, reactions, state)

    async def _step(self, entry: Entry) -> None:
        if _is_outside(entry):
            self._skip()
        elif self._running is None and not self._tape.broken_off:
            await self._start(entry)
        elif self._tape.watch_is_next:
            self._say(entry)
        elif self._tape.broken_off:
            await self._resume()
        elif entry.kind == Kind.VERDICT and entry.body["guard"] == "guardian":
            self.executor.guardian_said(entry.body["sentence"])
        else:
            await self._let_it_decide(entry)

    def _skip(self) -> None:
        entry = self._tape.take()
        self.clock.now_s, self.clock.now_utc_s = entry.when_s, entry.utc_s

    async def _start(self, entry: Entry) -> None:
        if entry.kind != Kind.STATE:  # arming, before anything runs
            self._skip()
            return
        self.clock.now_s, self.clock.now_utc_s = entry.when_s, entry.utc_s
        self._run(None)
        await self._let_it_decide(entry)

    def _run(self, resoak: Resoak | None) -> None:
        self._running = asyncio.create_task(self.executor.run(self.night.procedure, resoak))

    def _say(self, entry: Entry) -> None:
        """The watch or a person says what it said then."""
        self.clock.now_s, self.clock.now_utc_s = entry.when_s, entry.utc_s
        body = entry.body
        with suppress(BrokenOff):
            if entry.kind == Kind.OBSERVATION:
                self.executor.saw(from_body(body))
            else:
                self.executor.word(body["word"], body["who"], body["reason"])

    async def _let_it_decide(self, entry: Entry) -> None:
        """Answer what waits, or let the run go on, until the tape moves or nothing more can happen."""
        at, differences = self._tape.seq, len(self.journal.differences)
        for _ in range(_LONGEST_TURN):
            await asyncio.sleep(0)
            if self._tape.seq != at or self.journal.parted or len(self.journal.differences) != differences:
                return
            if not self._at_rest():
                continue
            if entry.kind != Kind.OBSERVATION or not self._answer(entry):
                self.journal.missing()
                return
        raise RuntimeError(f"entry {entry.seq}: the run neither goes on nor waits")

    async def _settle(self) -> None:
        for _ in range(_LONGEST_TURN):
            if self.journal.parted or self._at_rest():
                return
            await asyncio.sleep(0)

    def _at_rest(self) -> bool:
        if self.desk.waiting or self._running is None or self._running.done():
            return True
        self.clock.wake()
        return False

    def _answer(self, entry: Entry) -> bool:
        if not self.desk.waiting or self.desk.asked_as != entry.body["of"]:
            return False
        self.clock.now_s, self.clock.now_utc_s = entry.when_s, entry.utc_s
        self.desk.give(from_body(entry.body))
        return True

    async def _resume(self) -> None:
        """The crash, the gap, and what `resume` decided: whether to go on was seen at the source then."""
        await self._settle()
        await self.stop()
        self._skip()
        gap, state = self._tape.take(), self._tape.next
        self.clock.now_s, self.clock.now_utc_s = gap.when_s, gap.utc_s
        self.journal.stamped_s = gap.when_s
        self.night.watch_afresh(gap.when_s)
        self.executor = self._executor(State.INTERRUPTED)
        reason = gap.body["reason"]
        if state is not None and state.kind == Kind.STATE and state.body["to"] != State.RUNNING:
            down = self.executor.bring_down(reason, State(state.body["to"]))
            self._running = asyncio.create_task(down)
        else:
            self._run(Resoak(reason))


def _is_outside(entry: Entry) -> bool:
    """Entries written around the run, not by it."""
    body: Mapping[str, Any] = entry.body
    around = entry.kind in (Kind.OPENED, Kind.CLOSED, Kind.REVIEW)
    return around or (entry.kind == Kind.MILESTONE and body.get("by") == State.IDLE)
