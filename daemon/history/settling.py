"""How long this bench has really taken to come to rest, from its own records."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from statistics import median

from daemon.journal.entry import Kind
from daemon.journal.read import RecordError, read_entries, read_opening
from daemon.timetable import forecast
from plans.errors import PlanError
from plans.loading import parse_plan
from plans.run_plan import RunPlan


@dataclass(frozen=True, slots=True)
class Settled:
    """Time in s beyond ramp and soak until readings began: the median over so many points of so many runs."""

    median_s: float
    points: int
    runs: int


def settled_before(folder: Path, run: RunPlan) -> Settled | None:
    """From the runs of the same bench in this folder; None when there are none that can be read."""
    times: list[float] = []
    runs = 0
    for record in sorted(folder.glob("*.record")) if folder.is_dir() else []:
        try:
            own = _times_s(record, run)
        except (RecordError, PlanError, OSError):
            continue
        runs += bool(own)
        times += own
    return Settled(median(times), len(times), runs) if times else None


def _times_s(record: Path, run: RunPlan) -> list[float]:
    body = read_opening(record).body
    before = parse_plan(body["plan"], body["bench"], body["register"])
    if before.bench.name != run.bench.name or body["simulated"] != (run.bench.simulation is not None):
        return []
    ahead = {row.index: row.approach_s + row.soak_s for row in forecast(before).rows}
    times, started_s = [], 0.0
    for entry in read_entries(record, frozenset({Kind.MILESTONE})):
        mark = entry.body["mark"]
        if mark == "point_started":
            started_s = entry.when_s
        elif mark == "sequence_started" and entry.body["settled"]:
            times.append(max(0.0, entry.when_s - started_s - ahead[entry.body["index"]]))
    return times
