"""A week without a pause in simulated time: does memory stay flat, does the watch keep its cadence?

python -m tests.campaigns.week [--hours 168]

Run after run of 56 h (none may last longer than 72 h) goes up and down between its points all the time,
with guards, journal and every reading. The simulated world keeps the history of its temperatures, which no
real bench does: its size is told and subtracted.
"""

from __future__ import annotations

import argparse
import gc
import resource
import sys
import tempfile
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from daemon.journal.entry import Entry, Kind
from daemon.journal.journal import new_journal
from daemon.night import Bench, Night, open_instruments
from daemon.rehearsal import make_scene, simulation_of
from daemon.states import State
from drivers.clock import Clock
from plans.loading import parse_plan
from plans.run_plan import RunPlan
from simulators import virtual_time
from simulators.scene import Scene
from tests.campaigns.short_nights import short_night

FLAT_MIB_PER_WEEK = 8.0
"""More growth than this over a week is a leak; the allocator's own unrest is about a third of it."""

_WATCH_S = 1.0
_SETTLED_SHARE = 0.15
_MIB = 2**20
_POINTS_C = (90.0, 195.0, 120.0)
_HOURS_A_ROUND = 3.0
_RUN_HOURS = 56.0


@dataclass
class Week:
    """What was noted: memory in MiB at each full hour, and the watch's looks; times in s."""

    scene: Scene | None = None
    before_s: float = 0.0
    memory_mib: list[tuple[float, float]] = field(default_factory=list)
    looks: int = 0
    first_s: float = 0.0
    last_s: float = 0.0
    longest_s: float = 0.0
    entries: int = 0
    states: list[str] = field(default_factory=list)

    def listen(self, entry: Entry) -> None:
        """Take note of an entry."""
        self.entries += 1
        if entry.kind == Kind.STATE:
            self.states.append(str(entry.body["to"]))
        if entry.kind == Kind.OBSERVATION and entry.body["what"] == "source" and entry.body["of"] == 0:
            self._looked(self.before_s + entry.when_s)
        when_s = self.before_s + entry.when_s
        if when_s >= 3600.0 * (len(self.memory_mib) + 1):
            gc.collect()
            self.memory_mib.append((when_s, _resident_mib() - self.world_mib))

    def _looked(self, when_s: float) -> None:
        if self.looks:
            self.longest_s = max(self.longest_s, when_s - self.last_s)
        else:
            self.first_s = when_s
        self.looks, self.last_s = self.looks + 1, when_s

    @property
    def world_mib(self) -> float:
        """How much of the memory is the simulated world's history."""
        if self.scene is None:
            return 0.0
        source = self.scene.source
        lists = (source.medium_c, source.air_c, source.layering)
        numbers = 2 * len(source.medium_c) * sys.getsizeof(1.0)
        return (sum(sys.getsizeof(one) for one in lists) + numbers) / _MIB

    @property
    def mean_s(self) -> float:
        """The mean time from look to look."""
        return (self.last_s - self.first_s) / max(1, self.looks - 1)

    @property
    def growth_mib_per_week(self) -> float:
        """Slope of the memory by least squares, after the first part of the time in which caches fill."""
        noted = self.memory_mib[int(_SETTLED_SHARE * len(self.memory_mib)) :]
        mean_s = sum(when_s for when_s, _ in noted) / len(noted)
        mean_mib = sum(mib for _, mib in noted) / len(noted)
        above = sum((when_s - mean_s) * (mib - mean_mib) for when_s, mib in noted)
        below = sum((when_s - mean_s) ** 2 for when_s, _ in noted)
        return 7 * 86400.0 * above / below


def endless(hours: float) -> RunPlan:
    """The shortened bath night with so many points that it lasts longer than `hours`."""
    texts = short_night("bath").texts
    before, rest = texts.plan.split("[[points]]", 1)
    finish = rest[rest.index("[finish]") :]
    round_of_points = "".join(f"[[points]]\ntemperature_c = {point_c}\n\n" for point_c in _POINTS_C)
    plan = before.replace("minimum_soak_minutes = 6", "minimum_soak_minutes = 30")
    plan += round_of_points * (2 + int(hours / _HOURS_A_ROUND)) + finish
    return parse_plan(plan, texts.bench, texts.register)


def simulated(hours: float) -> Week:
    """Run for that long and note what happens."""
    week, run = Week(), endless(min(hours, _RUN_HOURS))
    while week.before_s < 3600.0 * hours:
        lasts_s = min(3600.0 * _RUN_HOURS, 3600.0 * hours - week.before_s)
        week.scene = make_scene(run)
        with tempfile.TemporaryDirectory() as folder, suppress(virtual_time.EndReached):
            virtual_time.run(_run(run, Path(folder) / "week.record", week), end_s=lasts_s)
        week.before_s += lasts_s
    return week


async def _run(run: RunPlan, record: Path, week: Week) -> None:
    assert week.scene is not None
    clock = Clock(simulation_of(run).start_utc)
    far_ends = {name: week.scene.instrument(name) for name in ("source", "bridge")}
    night = Night(run, open_instruments(run, Bench(clock, far_ends, simulated=True)))
    journal = new_journal(record, clock, simulated=True)
    journal.listen(week.listen)
    try:
        await night.executor(journal).run(night.procedure)
    finally:
        journal.close()


def _resident_mib() -> float:
    pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
    return pages * resource.getpagesize() / _MIB


def figures(week: Week) -> str:
    """What was found, in lines."""
    own, took_h = [mib for _, mib in week.memory_mib], week.last_s / 3600.0
    return (
        f"{took_h:.1f} simulated hours, {week.entries} entries, states {', '.join(week.states)}\n"
        f"memory, without {week.world_mib:.0f} MiB of the world: {own[0]:.1f} MiB after an hour, at the end"
        f" {own[-1]:.1f}, most {max(own):.1f} MiB; growth {week.growth_mib_per_week:+.1f} MiB a week\n"
        f"watch: {week.looks} looks, every {week.mean_s:.6f} s on the average, at most {week.longest_s:.3f} s"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the week and print its figures; 1 when memory grew, the cadence drifted or the run was halted."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--hours", type=float, default=168.0)
    began, week = time.monotonic(), simulated(parser.parse_args(arguments).hours)
    print(f"{figures(week)}\n{time.monotonic() - began:.0f} s")
    steady = abs(week.mean_s - _WATCH_S) <= 0.001 * _WATCH_S
    flat = week.growth_mib_per_week <= FLAT_MIB_PER_WEEK
    return int(not (steady and flat and set(week.states) == {State.RUNNING}))


if __name__ == "__main__":
    sys.exit(main())
