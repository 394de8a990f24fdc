"""A halt goes out although the disk does not take the reading that demanded it."""

from __future__ import annotations

import asyncio
from contextlib import suppress

from daemon.actions import Measure
from daemon.executor.executor import Executor
from daemon.executor.instruments import Instruments
from daemon.executor.reactions import Reactions
from daemon.guards.over_limit import OverLimit
from daemon.guards.panel import GuardPanel
from daemon.journal.entry import Kind
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

TOO_HOT_OHM = 190.0


class Disk:
    """Takes rows, and from the first verdict on says of none that it is written."""

    def __init__(self) -> None:
        self.fault = ""
        self.stuck = False

    def put(self, row: Row) -> None:
        self.stuck = self.stuck or row[1] == Kind.VERDICT

    async def committed(self) -> None:
        if self.stuck:
            await asyncio.Event().wait()

    def close(self) -> None:
        """Nothing is open."""


def reading() -> Procedure:
    while True:
        yield Measure(1, 1.0)


def test_a_halt_never_waits_for_the_disk_to_take_the_reading_that_demanded_it() -> None:
    bath, bridge, disk = SmallBath(), SmallBridge(), Disk()
    ends = {"source": Responder(bath), "bridge": bridge.far_end()}

    async def main() -> None:
        clock = Clock()
        source = open_heat_source("ascii-bath", "simulated:source", clock, far_ends=ends)
        instruments = Instruments(
            source, open_bridge("text-bridge", "simulated:bridge", clock, far_ends=ends), clock
        )
        script = script_of(load_plan(EXAMPLES / "short.toml"), source.capabilities)
        panel = GuardPanel([OverLimit()], situation_of(World()))
        executor = Executor(instruments, Journal(disk, clock), panel, Reactions(script))
        running = asyncio.create_task(executor.run(reading()))
        await clock.sleep(20.0)
        assert bath.heater == 1
        bridge.resistance_ohm[1] = TOO_HOT_OHM
        await clock.sleep(5.0)
        running.cancel()
        with suppress(asyncio.CancelledError):
            await running

    virtual_time.run(main(), end_s=100.0)
    assert disk.stuck and bath.heater == 0
