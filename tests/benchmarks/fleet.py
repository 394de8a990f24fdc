"""A hundred benches tell one broker of themselves every second: what is lost, how late it is, what it costs.

Run: `python -m tests.benchmarks.fleet [--benches 100] [--seconds 30]`; needs Mosquitto. All on loopback, one
process for all benches (a thread, an outbox and a connection each), one for the broker, the watcher in a
thread of its own. With `--outage S` the broker is killed then, S more seconds are told to nobody, `--pace` of
them in each real one, and the broker comes back: ten hours are `--benches 5 --outage 36000 --pace 150`.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import resource
import threading
import time
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from daemon.cli.watch_fleet import Fleet
from daemon.cli.watch_listening import Listening
from daemon.journal.entry import Entry, Kind
from daemon.telemetry.settings import MqttSettings
from daemon.telemetry.telemetry import Telemetry
from drivers.clock import Clock
from tests.benchmarks.service import memory_mb
from tests.nights.telemetry_broker import Mosquitto, broker, look, settings_for

CHANNELS = 6
PATIENCE_S = 30.0


class Timed(Fleet):
    """A fleet that notes how late each message came, in s."""

    def __init__(self) -> None:
        super().__init__(0.0)
        self.late_s: list[float] = []
        self.events: set[tuple[str, int]] = set()

    def take(self, topic: str, payload: bytes, now_s: float, *, retained: bool) -> None:
        """As the fleet's, with a stamp."""
        now = time.time()
        super().take(topic, payload, now_s, retained=retained)
        body = json.loads(payload)
        if not retained and "/channel/" in topic:
            self.late_s.append(now - datetime.fromisoformat(body["t"]).timestamp())
        if topic.endswith("/event"):
            self.events.add((topic, body["seq"]))


class Watching:
    """The watcher in a thread of its own."""

    def __init__(self, settings: MqttSettings) -> None:
        self.fleet = Timed()
        self._settings = settings
        self._thread = threading.Thread(target=lambda: asyncio.run(self._main()), daemon=True)
        self._leave = threading.Event()

    def start(self) -> None:
        """Returns when the broker is being listened to."""
        self._thread.start()
        until(lambda: self.fleet.connected)

    def stop(self) -> None:
        """Go away."""
        self._leave.set()
        self._thread.join()

    async def _main(self) -> None:
        listening = asyncio.create_task(Listening(self._settings, self.fleet, Clock(), "+").run())
        await asyncio.to_thread(self._leave.wait)
        listening.cancel()
        await asyncio.gather(listening, return_exceptions=True)


def until(condition: object, within_s: float = PATIENCE_S) -> None:
    """Look at a condition until it holds."""
    assert callable(condition)
    ends_s = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < ends_s, "this took too long"
        time.sleep(0.001)


def reading(seq: int, channel: int, second: int) -> Entry:
    """One resistance reading, stamped now."""
    body = {"what": "resistance", "at": float(second), "channel": channel, "current_ma": 1.0, "use": "scan"}
    body |= {"value": 110.0 + channel, "taken": float(second), "raw": ""}
    return Entry(seq, Kind.OBSERVATION, float(second), time.time(), body)


def tell_a_second(benches: list[Telemetry], second: int, pace: float = 1.0) -> None:
    """One second of every bench: a look, the channels and an event, spread over the second."""
    per_bench = CHANNELS + 2
    started_s, pause = time.monotonic(), threading.Event()
    for number, bench in enumerate(benches):
        first = 1 + second * per_bench
        bench.listener(replace(look(first, float(second), 40.0), utc_s=time.time()))
        for channel in range(1, CHANNELS + 1):
            bench.listener(reading(first + channel, channel, second))
        word = {"word": "note", "who": "the benchmark", "reason": ""}
        bench.listener(Entry(first + per_bench - 1, Kind.OPERATOR, float(second), time.time(), word))
        due_s = started_s + (number + 1) / len(benches) / pace
        pause.wait(max(0.0, due_s - time.monotonic()))


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--benches", type=int, default=100)
    parser.add_argument("--seconds", type=int, default=30)
    parser.add_argument("--outage", type=int, default=0, help="seconds told while the broker is dead")
    parser.add_argument("--pace", type=float, default=1.0, help="seconds of the outage in a real one")
    args = parser.parse_args()
    with TemporaryDirectory() as name, broker(Path(name)) as one:
        folder = Path(name)
        watching = Watching(settings_for(one.port))
        watching.start()
        benches = [
            Telemetry(replace(settings_for(one.port), bench=f"bench-{n:03d}"), folder / f"{n}.outbox")
            for n in range(args.benches)
        ]
        until(lambda: sum(b.status == "online" for b in watching.fleet.benches.values()) == args.benches)
        before_s, cpu_s = time.monotonic(), time.process_time()
        for second in range(args.seconds):
            tell_a_second(benches, second)
        wanted = args.benches * args.seconds
        until(lambda: len(watching.fleet.events) >= wanted)
        took_s, cpu_s = time.monotonic() - before_s, time.process_time() - cpu_s
        late_s = list(watching.fleet.late_s)
        if args.outage:
            wanted += outage(args, one, benches, watching.fleet)
        for bench in benches:
            bench.close(PATIENCE_S)
        watching.stop()
    print(f"events lost: {wanted - len(watching.fleet.events)} of {wanted}")
    report(args, late_s, took_s, cpu_s)


def outage(args: argparse.Namespace, one: Mosquitto, benches: list[Telemetry], fleet: Timed) -> int:
    """Kill the broker, go on telling, bring it back; prints what waited and returns how many events."""
    one.end()
    began_s, before_mb = time.monotonic(), memory_mb(os.getpid())
    for second in range(args.seconds, args.seconds + args.outage):
        tell_a_second(benches, second, args.pace)
    dead_s, depth = time.monotonic() - began_s, sum(bench.waiting for bench in benches)
    dead_mb = memory_mb(os.getpid())
    one.start()
    back_s = time.monotonic()
    wanted = len(benches) * (args.seconds + args.outage)
    until(lambda: len(fleet.events) >= wanted, within_s=600.0)
    print(f"broker dead for {dead_s:.0f} s, {args.outage} s told: {depth} messages waited")
    print(
        f"all heard {time.monotonic() - back_s:.1f} s after it came back; lost {sum(b.lost for b in benches)}"
    )
    print(f"memory before {before_mb:.0f} MB, at the end of the outage {dead_mb:.0f} MB")
    return len(benches) * args.outage


def report(args: argparse.Namespace, late_s: list[float], took_s: float, cpu_s: float) -> None:
    """Figures of the time with a broker."""
    late_ms = sorted(1e3 * one for one in late_s)
    live = args.benches * args.seconds * CHANNELS
    memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"{args.benches} benches at 1 Hz for {args.seconds} s, {CHANNELS} channels, {os.cpu_count()} cores")
    print(f"live readings seen: {len(late_ms)} of {live} (superseded ones may be left out)")
    p50, p99, worst = (late_ms[min(int(q * len(late_ms)), len(late_ms) - 1)] for q in (0.5, 0.99, 1.0))
    print(f"latency of a live reading: p50 {p50:.1f} ms, p99 {p99:.1f} ms, worst {worst:.1f} ms")
    print(f"CPU of all benches and the watcher: {100.0 * cpu_s / took_s:.0f} % of one core")
    print(f"memory of all benches and the watcher: {memory_mb:.0f} MB")


if __name__ == "__main__":
    main()
