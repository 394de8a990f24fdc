"""A daemon to be killed: the real executor on a real loop, real drivers and sockets, a guardian of its own.

Run by the guardian's trials only: python -m tests.campaigns.guardian_daemon SOURCE BRIDGE FOLDER LIMIT_S
SIGUSR1 blocks its event loop for good.
"""

from __future__ import annotations

import asyncio
import signal
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from daemon.actions import Measure, SwitchHeater, WriteRamp, WriteSetPoint
from daemon.executor.executor import Executor
from daemon.executor.reactions import Reactions
from daemon.guardian.keeper import Keeper, spawned
from daemon.guardian.orders import Limits, Orders
from daemon.guardian.path import way_of
from daemon.guardian.script import compile_script
from daemon.journal.journal import new_journal
from daemon.night import Bench, Night, open_instruments
from daemon.procedure.script import Procedure
from drivers.clock import Clock
from plans.run_plan import RunPlan
from tests.campaigns.guardian_bench import real_plan

HOT_C = 60.0
RECHECK_S = 0.05


def heating() -> Procedure:
    """Heat, then read without end."""
    yield SwitchHeater(True)
    yield WriteRamp(2.0)
    yield WriteSetPoint(HOT_C)
    while True:
        yield Measure(1, 1.0)


def orders_for(run: RunPlan, folder: Path, limit_s: float) -> Orders:
    """Park script and limits; looks after parking follow quickly, so that a trial ends soon."""
    way = way_of(run)
    limits = Limits(dead_after_s=limit_s, recheck_s=RECHECK_S)
    return Orders(way, compile_script(run, way.kind), limits, str(folder / "guardian.log"))


async def heat(run: RunPlan, folder: Path, limit_s: float) -> None:
    """Run the executor until it is killed."""
    asyncio.get_running_loop().add_signal_handler(signal.SIGUSR1, time.sleep, 3600.0)
    bench = Bench(Clock(), {}, simulated=False)
    instruments = open_instruments(run, bench)
    await instruments.source.identify()
    night = Night(run, instruments)
    journal = new_journal(folder / "night.record", bench.clock, simulated=False)
    keeper = Keeper(orders_for(run, folder, limit_s), spawned)
    keeper.arm()
    print(f"guardian {keeper.pid}", flush=True)
    executor = Executor(
        instruments,
        journal,
        night.panel,
        Reactions(night.script),
        watch_interval_s=limit_s / 5.0,
        heart=keeper,
    )
    await executor.run(heating())


def main(words: Sequence[str]) -> None:
    """Heat the source at an address, under a guardian."""
    source, bridge, folder, limit_s = words
    asyncio.run(heat(real_plan("ascii-bath", source, bridge), Path(folder), float(limit_s)))


if __name__ == "__main__":
    main(sys.argv[1:])
