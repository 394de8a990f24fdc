"""How long a halt takes through the whole executor, from a reading that is too hot to "off" on the wire.

Run from the repository's root: python -m tests.benchmarks.halts [--trials 300]
The bridge stamps the second reading above the limit as it sends it, the controller the frame that switches
its heater off as it comes: between them lie link, journal, guards, the change of script and the driver.
Meanwhile others are read ten times a second, all is journaled and synced, and the controller is looked at.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path

from daemon.actions import Measure
from daemon.executor.executor import Executor
from daemon.executor.instruments import Instruments
from daemon.executor.reactions import Reactions
from daemon.guards.over_limit import OverLimit
from daemon.guards.panel import GuardPanel
from daemon.journal.journal import Journal, new_journal
from daemon.preparation import script_of
from daemon.procedure.script import Procedure, Script
from drivers.bridge import ProfileBridge
from drivers.clock import Clock
from drivers.heat_source import ProfileHeatSource
from drivers.line import Line
from drivers.link import Link
from drivers.profile import load_profile
from drivers.registry import SHIPPED
from drivers.wires.tcp import TcpWire
from plans.loading import load_plan
from tests.benchmarks.wires import Busy, ask, close, links_to, shown
from tests.benchmarks.wires_servers import BUSY_ANSWER_S, over_limit, stamping, switched_off
from tests.guards.watched import World, situation_of

PLAN = Path(__file__).resolve().parents[2] / "plans" / "examples" / "short.toml"
LOOK_EVERY_S = 0.2


def quick_bridge(port: int, clock: Clock) -> ProfileBridge:
    """The text bridge without the times that a real conversion takes."""
    profile = load_profile(SHIPPED / "text-bridge.toml")
    question = replace(profile.questions["resistance"], earliest_s=0.0)
    profile = replace(profile, questions={"resistance": question})
    bridge = ProfileBridge(profile, Link(Line(TcpWire("127.0.0.1", port), clock, "bridge")), "tcp", clock)
    bridge.capabilities = replace(bridge.capabilities, settling_s=0.0)
    return bridge


def quick_bath(port: int, clock: Clock) -> ProfileHeatSource:
    """The bath, drained for a tenth of a second only after each run was broken off."""
    line = Line(TcpWire("127.0.0.1", port), clock, "bath", quiet_s=0.1, always_drain=True)
    return ProfileHeatSource(load_profile(SHIPPED / "ascii-bath.toml"), Link(line), "tcp", clock)


def reading() -> Procedure:
    """Nothing but readings of the reference."""
    while True:
        yield Measure(1, 1.0)


async def one_halt(
    instruments: Instruments, script: Script, journal: Journal, hot: Connection, off: Connection
) -> float:
    """One run until its heater is switched off; the time it took in s."""
    loop = asyncio.get_running_loop()
    await asyncio.gather(instruments.look(), instruments.bridge.identify())
    panel = GuardPanel([OverLimit()], situation_of(World()))
    executor = Executor(instruments, journal, panel, Reactions(script), watch_interval_s=LOOK_EVERY_S)
    run = asyncio.create_task(executor.run(reading()))
    off_s = await loop.run_in_executor(None, off.recv)
    run.cancel()
    with suppress(asyncio.CancelledError):
        await run
    await instruments.close()
    await instruments.clock.sleep_until(instruments.clock.monotonic_s() + 0.05)  # what was still on its way
    while off.poll():
        off.recv()
    sent = []
    while hot.poll():
        sent.append(hot.recv())
    took_s: float = off_s - max(when_s for when_s in sent if when_s < off_s)
    return took_s


async def halts(busy: int, answer_s: float, trials: int, folder: Path) -> Sequence[float]:
    """So many halts with `busy` instruments more, by a controller that answers after `answer_s`."""
    clock = Clock()
    with (
        over_limit(BUSY_ANSWER_S) as (bridge_port, hot),
        switched_off(answer_s) as (bath_port, off),
        stamping(busy, BUSY_ANSWER_S) as (ports, _),
    ):
        journal = new_journal(folder / f"{busy}-{answer_s}.record", clock, simulated=False)
        links = links_to(ports, clock)
        await asyncio.gather(*map(ask, links))
        instruments = Instruments(quick_bath(bath_port, clock), quick_bridge(bridge_port, clock), clock)
        script = script_of(load_plan(PLAN), instruments.source.capabilities)
        async with Busy(links, journal, clock):
            taken = [await one_halt(instruments, script, journal, hot, off) for _ in range(trials)]
        close(links)
        await instruments.close()
        journal.close()
    return taken


def main() -> None:
    """Print the figures with their goals."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--trials", type=int, default=300, help="for each figure")
    trials = parser.parse_args().trials
    gc.collect()
    gc.freeze()
    with tempfile.TemporaryDirectory() as folder:
        for busy, goal in ((8, "goal p99 2000"), (100, "goal p99 10000")):
            for answer_s in (0.001, 0.030):
                taken = asyncio.run(halts(busy, answer_s, trials, Path(folder)))
                print(
                    f"{busy:3} busy, controller answers in {1e3 * answer_s:2.0f} ms  {shown(taken)} ({goal})"
                )


if __name__ == "__main__":
    main()
