"""Figures of the wires on this machine, over loopback.

Run from the repository's root: python -m tests.benchmarks.wires [--quick]
The halt is measured from the moment an instrument sends a reading to the moment another instrument hears
"off", through link, journal and verdict, while others are read and the journal syncs to the disk.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import socket
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from multiprocessing.connection import Connection
from pathlib import Path
from time import perf_counter

from daemon.journal.entry import Kind
from daemon.journal.journal import Journal, new_journal
from drivers.bridge import ProfileBridge
from drivers.clock import Clock
from drivers.errors import NoAnswer
from drivers.framing import LineFraming
from drivers.line import Line
from drivers.link import Link
from drivers.profile import load_profile
from drivers.registry import SHIPPED
from drivers.wires.tcp import TcpWire
from tests.benchmarks.wires_servers import BUSY_ANSWER_S, SCANNER_CHANNELS, scanner, stamping

LINE = LineFraming(b"\n", b"\n", 64)
WITHIN_S = 5.0
EVERY_S = 0.1


def shown(values_s: Sequence[float]) -> str:
    """Percentiles in microseconds."""
    ordered = sorted(values_s)
    parts = (
        f"{name} {1e6 * ordered[min(len(ordered) - 1, int(len(ordered) * share))]:7.0f}"
        for name, share in (("p50", 0.5), ("p99", 0.99), ("p99.9", 0.999))
    )
    return "  ".join(parts) + " µs"


def links_to(ports: Sequence[int], clock: Clock) -> list[Link]:
    """One link to each port, not opened yet."""
    return [Link(Line(TcpWire("127.0.0.1", port), clock, str(port))) for port in ports]


async def ask(link: Link) -> float:
    """One question; the answer is a time in s."""
    return float(await link.exchange(b"NOW\n", LINE.complete, WITHIN_S))


def raw_socket(port: int, count: int) -> list[float]:
    """Question and answer on a bare blocking socket, in s each."""
    taken = []
    with socket.create_connection(("127.0.0.1", port)) as raw:
        raw.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        for _ in range(count):
            started = perf_counter()
            raw.sendall(b"NOW\n")
            raw.recv(64)
            taken.append(perf_counter() - started)
    return taken


async def through_links(ports: Sequence[int], count: int) -> list[float]:
    """The same through links, all instruments at once."""
    links, taken = links_to(ports, Clock()), []

    async def one(link: Link) -> None:
        await ask(link)
        for _ in range(count):
            started = perf_counter()
            await ask(link)
            taken.append(perf_counter() - started)

    await asyncio.gather(*(one(link) for link in links))
    close(links)
    return taken


async def poll_lateness(ports: Sequence[int], seconds: int) -> list[float]:
    """How late each instrument's answer is there, for all asked once a second, in s."""
    clock, late = Clock(), []
    links = links_to(ports, clock)
    await asyncio.gather(*map(ask, links))
    start_s = clock.monotonic_s()

    async def one(link: Link) -> None:
        for tick in range(1, seconds + 1):
            await clock.sleep_until(start_s + tick)
            await ask(link)
            late.append(clock.monotonic_s() - start_s - tick)

    await asyncio.gather(*map(one, links))
    close(links)
    return late


def close(links: Sequence[Link]) -> None:
    """Let go of all."""
    for link in links:
        link.close()


async def converting(port: int, channels: int) -> tuple[float, float]:
    """Share of the time after settling in which the bridge converts, and the rest per reading in s."""
    profile, clock = load_profile(SHIPPED / "text-bridge.toml"), Clock()
    link = Link(Line(TcpWire("127.0.0.1", port), clock, "bridge"))
    bridge = ProfileBridge(profile, link, "tcp", clock)
    facts = bridge.capabilities
    bridge.capabilities = type(facts)(channels, facts.currents_ma, facts.integration_s, facts.settling_s)
    channel = bridge.command("channel")
    object.__setattr__(channel, "limits", (1.0, float(channels)))
    await bridge.measure(1, 1.0)
    started = clock.monotonic_s()
    for number in range(channels, 0, -1):
        await bridge.measure(number, 1.0)
    used_s = clock.monotonic_s() - started - channels * facts.settling_s
    await bridge.close()
    return channels * facts.integration_s / used_s, used_s / channels - facts.integration_s


class Busy:
    """Instruments that are read ten times a second each, while everything is journaled and synced."""

    def __init__(self, links: Sequence[Link], journal: Journal, clock: Clock) -> None:
        self._links, self._journal, self._clock = links, journal, clock

    async def __aenter__(self) -> None:
        count = len(self._links)
        self._tasks = [asyncio.create_task(self._read(x, at / count)) for at, x in enumerate(self._links)]
        self._tasks.append(asyncio.create_task(self._sync()))

    async def __aexit__(self, *of_no_use: object) -> None:
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def _read(self, link: Link, phase: float) -> None:
        next_s = self._clock.monotonic_s() + EVERY_S * phase
        while True:
            await self._clock.sleep_until(next_s)
            self._journal.append(Kind.OBSERVATION, {"of": 0, "what": "resistance", "value": await ask(link)})
            next_s += EVERY_S

    async def _sync(self) -> None:
        while True:
            await self._journal.committed()
            self._journal.append(Kind.MILESTONE, {"mark": "synced"})


async def halts(
    ports: Sequence[int], off_port: int, heard: Connection, trials: int, folder: Path
) -> tuple[list[float], list[float]]:
    """Times from a reading sent to "off" heard, and from "off" written to heard, in s.

    What is switched off owes an answer meanwhile. The second time is the machine's own: nothing of ours
    runs in it.
    """
    clock = Clock()
    journal = new_journal(folder / f"{len(ports)}.record", clock, simulated=False)
    links, source = links_to(ports, clock), links_to([off_port], clock)[0]
    whole, machine = [], []
    await asyncio.gather(source.reach(), *(ask(link) for link in links))
    async with Busy(links[1:], journal, clock):
        for _ in range(trials):
            hanging = asyncio.create_task(ask(source))
            sent_s = await ask(links[0])
            journal.append(Kind.OBSERVATION, {"of": 0, "what": "resistance", "value": sent_s})
            journal.append(Kind.VERDICT, {"guard": "over_limit", "reaction": "cut", "value": sent_s})
            assert source.halt_now(b"OFF\n")
            written_s = clock.monotonic_s()
            with suppress(NoAnswer):
                await hanging
            heard_s = await asyncio.get_running_loop().run_in_executor(None, heard.recv)
            whole.append(heard_s - sent_s)
            machine.append(max(0.0, heard_s - written_s))
    close([*links, source])
    journal.close()
    return whole, machine


def main() -> None:
    """Print every figure, with the goal beside it where there is one."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--quick", action="store_true", help="a tenth of the size: a look, not a figure")
    quick = parser.parse_args().quick
    count, seconds, trials = (300, 3, 100) if quick else (3000, 20, 1000)
    gc.freeze()
    with stamping(32, 0.0) as (ports, _):
        bare = raw_socket(ports[0], count)
        print(f"bare socket               {shown(bare)}")
        for instruments in (1, 8, 32):
            linked = asyncio.run(through_links(ports[:instruments], count // instruments))
            each = sum(linked) / len(linked) / instruments
            ratio = f"{each * len(bare) / sum(bare):.2f} of bare each"
            print(f"link, {instruments:3} instruments     {shown(linked)}; {ratio}")
        for instruments in (1, 8, 32):
            late = asyncio.run(poll_lateness(ports[:instruments], seconds))
            print(f"late at 1 Hz, {instruments:3} polled  {shown(late)}")
    with scanner() as port:
        channels = 4 if quick else SCANNER_CHANNELS
        share, rest_s = asyncio.run(converting(port, channels))
        print(f"converting, {channels} channels   {100 * share:.2f} % (goal 99); {1e3 * rest_s:.2f} ms lost")
    with tempfile.TemporaryDirectory() as folder:
        for instruments, goal in ((1, ""), (8, " (goal p99 2000)"), (32, ""), (100, " (goal p99 10000)")):
            with stamping(instruments, BUSY_ANSWER_S) as (ports, _), stamping(1, WITHIN_S) as ((off,), heard):
                whole, machine = asyncio.run(halts(ports, off, heard, trials, Path(folder)))
            print(f"halt, {instruments:3} busy           {shown(whole)}{goal}")
            print(f"  of it, written to heard {shown(machine)}", flush=True)


if __name__ == "__main__":
    main()
