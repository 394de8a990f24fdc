"""A disk that stands still holds up no halt, and is itself a reason for one."""

from __future__ import annotations

import asyncio
import json
from contextlib import suppress

from daemon.actions import Measure
from daemon.executor.executor import Executor
from daemon.executor.instruments import Instruments
from daemon.executor.reactions import Reactions
from daemon.guards.guard import Guard
from daemon.guards.machine import DiskStalls, SlowDisk
from daemon.guards.over_limit import OverLimit
from daemon.guards.panel import GuardPanel
from daemon.journal.entry import Entry, Kind
from daemon.journal.journal import Journal
from daemon.journal.store import Row
from daemon.preparation import script_of
from daemon.procedure.script import Procedure
from drivers.clock import Clock
from drivers.registry import open_bridge, open_heat_source
from plans.loading import load_plan
from simulators import virtual_time
from tests.conversation.scripted import Responder, SmallBath, SmallBridge
from tests.guards.watched import World, situation_of
from tests.nights.rehearsed import EXAMPLES

TOO_HOT_OHM, WARM_OHM = 190.0, 108.0


class Disk:
    """Takes rows, and from the first of a kind on says of none that it is written."""

    def __init__(self, clock: Clock, stuck_at: Kind) -> None:
        self.fault = ""
        self.entries: list[Entry] = []
        self._clock, self._stuck_at = clock, stuck_at
        self.stuck_s: float | None = None

    def put(self, row: Row) -> None:
        seq, kind, when_s, utc_s, text, _ = row
        self.entries.append(Entry(seq, kind, when_s, utc_s, json.loads(text)))
        if self.stuck_s is None and kind == self._stuck_at:
            self.stuck_s = when_s

    async def committed(self) -> None:
        if self.stuck_s is not None:
            await asyncio.Event().wait()

    def slowest_commit_s(self) -> float:
        return self.commit_under_way_s()

    def commit_under_way_s(self) -> float:
        return 0.0 if self.stuck_s is None else self._clock.monotonic_s() - self.stuck_s

    def close(self) -> None:
        """Nothing is open."""


def reading() -> Procedure:
    while True:
        yield Measure(1, 1.0)


def night_on(stuck_at: Kind, guards: list[Guard], reading_ohm: float) -> tuple[SmallBath, Disk]:
    """A bench that heats; from 20 s on the bridge shows `reading_ohm`; looked at 15 s later."""
    bath, bridge = SmallBath(), SmallBridge()
    ends = {"source": Responder(bath), "bridge": bridge.far_end()}

    async def main() -> Disk:
        clock = Clock()
        disk = Disk(clock, stuck_at)
        source = open_heat_source("ascii-bath", "simulated:source", clock, far_ends=ends)
        instruments = Instruments(
            source, open_bridge("text-bridge", "simulated:bridge", clock, far_ends=ends), clock
        )
        script = script_of(load_plan(EXAMPLES / "short.toml"), source.capabilities)
        panel = GuardPanel(guards, situation_of(World()))
        executor = Executor(instruments, Journal(disk, clock), panel, Reactions(script))
        running = asyncio.create_task(executor.run(reading()))
        await clock.sleep(20.0)
        assert bath.heater == 1
        bridge.resistance_ohm[1] = reading_ohm
        await clock.sleep(15.0)
        running.cancel()
        with suppress(asyncio.CancelledError):
            await running
        return disk

    return bath, virtual_time.run(main(), end_s=100.0)


def test_a_halt_never_waits_for_the_disk_to_take_the_reading_that_demanded_it() -> None:
    bath, disk = night_on(Kind.VERDICT, [OverLimit()], TOO_HOT_OHM)
    assert disk.stuck_s is not None and bath.heater == 0


def test_a_disk_that_stands_still_parks_the_run_which_waits_for_it() -> None:
    _, disk = night_on(Kind.ACTION, [SlowDisk(), DiskStalls()], WARM_OHM)
    verdicts = [entry for entry in disk.entries if entry.kind == Kind.VERDICT]
    assert [entry.body["guard"] for entry in verdicts] == ["disk_stalls", "slow_disk"]
    assert disk.stuck_s is not None and 5.0 < verdicts[0].when_s - disk.stuck_s < 6.5
    states = [entry.body["to"] for entry in disk.entries if entry.kind == Kind.STATE]
    assert states == ["running", "parking"]
