"""One bench under the daemon: recovers what was broken off, then works through its queue, run by run."""

from __future__ import annotations

import asyncio
from pathlib import Path

from daemon.arming import Arming, NotArmed, arming
from daemon.journal.read import RecordError
from daemon.journal.store import parked_beside
from daemon.service.child import Child
from daemon.service.log import note
from daemon.service.orders import Ending, Order
from daemon.service.place import Place, Standing
from daemon.service.queue import QueuedRun, RunQueue
from daemon.service.recovery import OpenRecord, ended_as, if_open, newest_record
from daemon.states import State
from drivers.clock import Clock
from plans.bench import Bench
from plans.errors import PlanError
from plans.lab import LabBench, LoadedLab
from plans.loading import parse_plan

_LOOK_S = 1.0


class Keeper:
    """Looks after one bench; `run` is its task, everything else may be asked at any time."""

    def __init__(self, lab: LoadedLab, entry: LabBench, clock: Clock) -> None:
        """Read the queue of earlier days; raises QueueError."""
        self.id = entry.id
        self.bench: Bench = lab.benches[entry.id]
        self.place = Place(lab.plans / self.bench.record.folder, lab.state, entry.id)
        self.queue = RunQueue(lab.state / f"{entry.id}.queue.json")
        self.standing = Standing.FREE
        self.sentence = "nothing has run since the daemon was started"
        self.record: Path | None = None
        self.title = ""
        self.ending: Ending | None = None
        self.arming: Arming | None = None
        self._pace = entry.pace
        self._mqtt = lab.lab.mqtt.address if lab.lab.mqtt else ""
        self._commands = lab.lab.mqtt is not None and lab.lab.mqtt.commands
        self._clock = clock
        self._child: Child | None = None
        self._news = asyncio.Event()
        self._stopping = False

    @property
    def busy(self) -> bool:
        """Whether a run is on its way."""
        return self._child is not None

    @property
    def begun(self) -> bool:
        """Whether the run on its way has opened its record and hears words."""
        return self._child is not None and self._child.begun.is_set()

    def look_again(self) -> None:
        """Something has changed: a run was queued, a person spoke."""
        self._news.set()

    async def run(self) -> None:
        """Until told to stop; whatever breaks here breaks this bench alone."""
        try:
            await self._until_alone()
            if not await self._recover():
                await self._remember()
            while not self._stopping:
                await self._until_startable()
                if not self._stopping:
                    await self._start_first()
        except Exception as error:  # noqa: BLE001  a bench that broke must not stop the others
            self._stand(Standing.BROKEN, f"the daemon's part for this bench broke ({error!r})")
            note("a bench broke", bench=self.id, error=repr(error))

    async def word(self, word: str, who: str, reason: str) -> bool:
        """Pass an operator's word on to the run; acknowledging also frees a bench that waits for a person.

        Returns whether it had an effect; raises NoAnswer.
        """
        effect = False
        if self._child is not None:
            effect = await self._child.word(word, who, reason)
        elif word == "acknowledge" and self.standing is Standing.NEEDS_PERSON:
            self.place.unsettled.unlink(missing_ok=True)
            self._stand(Standing.FREE, f"{who} acknowledged how the last run ended")
            effect = True
        note("a word", bench=self.id, word=word, who=who, reason=reason, effect=effect)
        self.look_again()
        return effect

    async def stop(self, who: str) -> None:
        """Start nothing more; a run on its way is halted and seen to its end."""
        self._stopping = True
        self.look_again()
        if self._child is not None and not self.begun:
            self._child.leave()
        elif self._child is not None:
            await self.word("halt", who, "the daemon is being stopped")

    def confirm(self, key: str, who: str) -> None:
        """A person at the bench confirms one item of its checklist; raises NotArmed, KeyError."""
        if self.arming is None:
            raise NotArmed("no run waits for its arming here")
        self.arming.confirm(key, who, self._clock.utc_s())
        self.look_again()

    def _stand(self, standing: Standing, sentence: str) -> None:
        if (standing, sentence) != (self.standing, self.sentence):
            note("a bench", bench=self.id, standing=standing, sentence=sentence)
        self.standing, self.sentence = standing, sentence

    async def _until_alone(self) -> None:
        while not self._stopping and not self.place.free():
            self._stand(Standing.OCCUPIED, "a run of an earlier daemon is still being parked")
            await self._wait(_LOOK_S)
        if self.standing is Standing.OCCUPIED:
            self._stand(Standing.FREE, "the run of an earlier daemon has ended")

    async def _recover(self) -> bool:
        """See a run that was broken off to its end: park it, or go on where its plan says so.

        Returns whether there was one.
        """
        self.record = await asyncio.to_thread(newest_record, self.place.records, self.bench.name)
        try:
            left = await asyncio.to_thread(if_open, self.record) if self.record else None
        except (RecordError, PlanError, KeyError) as error:
            self._stand(Standing.NEEDS_PERSON, _unknown(self.record, error))
            return True
        if left is None or self._stopping:
            return False
        if left.damage:
            self.record = parked_beside(left.path)
        self._stand(Standing.RECOVERING, f"{left.path.name} was broken off; {_what_is_done(left)}")
        self.title = left.run.plan.header.title
        ending = await self._carry_out(self._resuming(left))
        self._judge(ending, "broken off, then seen to its end: ")
        return True

    async def _remember(self) -> None:
        """A run that ended without this daemon, or that nobody has acknowledged before the last one left."""
        if not self.place.unsettled.exists():
            return
        record = Path(self.place.unsettled.read_text(encoding="utf-8"))
        ended = await asyncio.to_thread(ended_as, record)
        if ended == State.FINISHED:
            self.place.unsettled.unlink()
        else:
            self._stand(Standing.NEEDS_PERSON, f"{record.name} ended before this daemon began: {ended}")

    def _resuming(self, left: OpenRecord) -> Order:
        # A simulated bench stood still while nobody watched: its own clock says nothing of the gap.
        gap_s = max(0.0, self._clock.utc_s() - left.path.stat().st_mtime)
        if self.bench.simulation is None:
            gap_s = max(0.0, self._clock.utc_s() - left.last_utc_s)
        texts = left.run.texts
        return self._order(texts.plan, texts.bench, texts.register, left.path, gap_s=min(gap_s, 1e6))

    async def _until_startable(self) -> None:
        while not self._stopping and not self._startable():
            await self._wait(_LOOK_S if self.arming is not None else None)

    def _startable(self) -> bool:
        if self.standing in (Standing.NEEDS_PERSON, Standing.BROKEN) or not self.queue.runs:
            return False
        if self.bench.simulation is not None:
            return True
        self._ask_for_arming(self.queue.runs[0])
        assert self.arming is not None
        return not self.arming.missing(self._clock.utc_s())

    def _ask_for_arming(self, run: QueuedRun) -> None:
        if self.arming is None:
            self.arming = arming(parse_plan(run.plan_text, run.bench_text, run.register_text))
        self._stand(Standing.NEEDS_ARMING, f"run {run.number} waits until a person at the bench arms it")

    async def _start_first(self) -> None:
        said = [dict(one) for one in self.arming.entries(self._clock.utc_s())] if self.arming else []
        run = self.queue.take()
        self.arming = None
        self.record, self.title = self.place.free_record(f"{run.plan}-{run.number}"), run.title
        self._stand(Standing.RUNNING, f"run {run.number}, submitted by {run.who}")
        order = self._order(run.plan_text, run.bench_text, run.register_text, self.record, said=said)
        ending = await self._carry_out(order)
        broken_off = ending.begun and not ending.state
        if not (broken_off and await self._recover()):
            self._judge(ending, "")

    def _order(self, *texts: str | Path, gap_s: float | None = None, said: object = ()) -> Order:
        plan, bench, register, record = map(str, texts)
        outbox = str(self.place.state / f"{self.id}.outbox")
        entries = list(said) if isinstance(said, list) else []
        lock = str(self.place.lock)
        return Order(
            plan,
            bench,
            register,
            record,
            lock,
            self._pace,
            gap_s,
            self._mqtt,
            self._commands,
            outbox,
            said=entries,
        )

    async def _carry_out(self, order: Order) -> Ending:
        self.ending = None
        self.place.unsettled.write_text(order.record, encoding="utf-8")
        self._child = Child(order, self.place.state / f"{self.id}.errors")
        note("a process was started", bench=self.id, pid=self._child.pid, record=order.record)
        try:
            return await self._child.ended()
        finally:
            # Also when this daemon goes away: without a listener the run halts by itself.
            self._child.leave()
            self._child = None

    def _judge(self, ending: Ending, before: str) -> None:
        self.ending = ending
        if ending.good:
            self.place.unsettled.unlink(missing_ok=True)
            self._stand(Standing.FREE, f"{before}{ending.sentence}")
        else:
            self._stand(Standing.NEEDS_PERSON, f"{before}{ending.sentence}")

    async def _wait(self, longest_s: float | None) -> None:
        self._news.clear()
        try:
            await asyncio.wait_for(self._news.wait(), longest_s)
        except TimeoutError:
            return


def _unknown(record: Path | None, error: Exception) -> str:
    return (
        f"{record and record.name} cannot be read ({error}): whether a run was broken off, and how hot the "
        "source is, nobody knows. Go to the bench and look, bring it down by hand, then acknowledge"
    )


def _what_is_done(left: OpenRecord) -> str:
    if left.damage:
        return f"it is damaged ({left.damage}) and left as it is: the source is parked"
    if left.run.plan.resume.policy == "park":
        return "its plan says park"
    return "its plan says continue, if the gap is short and the source is where it was left"
