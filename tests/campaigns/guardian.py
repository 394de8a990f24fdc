"""Kills and stalls a heating daemon many times; measures how soon its guardian has the source parked.

Run from the repository's root: python -m tests.campaigns.guardian [--kills 100] [--stalls 100] [--seed 1]
Everything is real but the instruments: processes, sockets, event loop, journal, time. Stalls are tried
with a beat limit of 1 s to save time; a few use the guardian's own limit of 5 s.
"""

from __future__ import annotations

import argparse
import math
import os
import random
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from simulators.instruments.ascii_bath import check
from simulators.scene import Scene
from tests.campaigns.guardian_bench import Heard, scene
from tests.conversation.served import on_tcp

PATIENCE_S = 60.0
FAULTS = {"kill": signal.SIGKILL, "stop": signal.SIGSTOP, "block": signal.SIGUSR1}
QUICK_LIMIT_S, OWN_LIMIT_S = 1.0, 5.0


def _frame(body: bytes) -> bytes:
    return b"$01" + body + check(b"$01" + body) + b"\r"


HEAT, PARK, LOOK = _frame(b"WS+0060.000"), _frame(b"WS+0040.000"), _frame(b"RA")


@dataclass(frozen=True)
class Outcome:
    """Seconds from the fault to the park command, and to the look that read it back."""

    command_s: float
    confirmed_s: float


@dataclass
class Trial:
    """A daemon that heats a simulated source, with its guardian."""

    there: Scene
    heard: Heard
    daemon: subprocess.Popen[str]
    guardian: int
    folder: Path

    def strike(self, fault: str) -> Outcome:
        """Let it happen and wait until the source is parked and the guardian has ended its work."""
        struck_s = time.monotonic()
        os.kill(self.daemon.pid, FAULTS[fault])
        command_s = until(lambda: self.heard.first(PARK, struck_s), f"{fault}: a park command")
        confirmed_s = until(lambda: self.heard.first(LOOK, command_s), f"{fault}: a read-back")
        self.daemon.wait(PATIENCE_S)
        until(lambda: True if not alive(self.guardian) else None, f"{fault}: the guardian's end")
        self._judge()
        return Outcome(command_s - struck_s, confirmed_s - struck_s)

    def _judge(self) -> None:
        controller = self.there.source.controller
        assert self.daemon.returncode == -signal.SIGKILL, "the daemon was not fenced"
        assert controller.set_point_c <= 40.0, f"the set-point stands at {controller.set_point_c} °C"
        assert not controller.heater_on, "the heater is on"
        assert "done" in self.log.splitlines()[-1], self.log

    @property
    def log(self) -> str:
        """What the guardian wrote."""
        return (self.folder / "guardian.log").read_text("utf-8")


@contextmanager
def trial(seed: int, limit_s: float) -> Iterator[Trial]:
    """A daemon that has commanded heat and is at its readings; nothing of it is left behind."""
    there = scene("ascii-bath", seed)
    heard = Heard(there.instrument("source"))
    with (
        tempfile.TemporaryDirectory() as name,
        on_tcp(heard) as source,
        on_tcp(Heard(there.instrument("bridge"))) as bridge,
    ):
        addresses = (f"tcp://127.0.0.1:{source}", f"tcp://127.0.0.1:{bridge}")
        daemon = subprocess.Popen(
            [sys.executable, "-m", "tests.campaigns.guardian_daemon", *addresses, name, str(limit_s)],
            stdout=subprocess.PIPE,
            text=True,
        )
        assert daemon.stdout is not None
        guardian = 0
        try:
            guardian = int(daemon.stdout.readline().split()[1])
            until(lambda: heard.first(HEAT), "the daemon's own set-point")
            yield Trial(there, heard, daemon, guardian, Path(name))
        finally:
            daemon.kill()
            daemon.wait()
            daemon.stdout.close()
            if guardian and alive(guardian):
                os.kill(guardian, signal.SIGKILL)


T = TypeVar("T")


def until(look: Callable[[], T | None], what: str) -> T:
    """What `look` finds, looking every millisecond; fails when it finds nothing in time."""
    give_up_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < give_up_s:
        if (found := look()) is not None:
            return found
        time.sleep(0.001)
    raise AssertionError(f"{what} did not come within {PATIENCE_S:g} s")


def alive(pid: int) -> bool:
    """True while a process exists that has not ended."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


def series(fault: str, count: int, limit_s: float, chance: random.Random) -> list[Outcome]:
    """That many trials of one fault, each at a random instant of the control cycle."""
    outcomes = []
    for _ in range(count):
        with trial(chance.randrange(10**6), limit_s) as running:
            time.sleep(chance.random() * limit_s / 2.0)
            outcomes.append(running.strike(fault))
    return outcomes


def row(title: str, outcomes: list[Outcome]) -> str:
    """Trials, then p50, p99 and worst in ms: to the command, and to the read-back."""
    cells = [f"{title:<34}{len(outcomes):>6}"]
    for values in ([o.command_s for o in outcomes], [o.confirmed_s for o in outcomes]):
        ordered = sorted(1000.0 * value for value in values)
        p99 = ordered[math.ceil(0.99 * len(ordered)) - 1]
        cells.append(f"{statistics.median(ordered):>10.1f}{p99:>10.1f}{ordered[-1]:>10.1f}")
    return "".join(cells)


def main() -> None:
    """Print one row for each kind of fault; an AssertionError is a source that was not parked."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--stalls", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    kills, stalls, chance = asked.kills, asked.stalls, random.Random(asked.seed)
    print(
        f"{'ms from fault':<34}{'trials':>6}{'command p50, p99, worst':>30}{'read back p50, p99, worst':>30}"
    )
    for title, fault, count, limit_s in (
        ("killed", "kill", kills, QUICK_LIMIT_S),
        ("stopped, limit 1 s", "stop", stalls // 2, QUICK_LIMIT_S),
        ("loop blocked, limit 1 s", "block", stalls - stalls // 2, QUICK_LIMIT_S),
        ("stopped, limit 5 s", "stop", max(1, stalls // 20), OWN_LIMIT_S),
        ("loop blocked, limit 5 s", "block", max(1, stalls // 20), OWN_LIMIT_S),
    ):
        print(row(title, series(fault, count, limit_s, chance)), flush=True)


if __name__ == "__main__":
    main()
