"""How long the bench really took, from the milestones of its own records."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from statistics import fmean, median, stdev

from daemon.journal.entry import Kind
from daemon.journal.read import RecordError, read_entries, read_opening
from daemon.results.phases import Phases, PointPath
from daemon.timetable import Row, forecast, smallness
from plans.errors import PlanError
from plans.learned import Direction, Timing
from plans.loading import parse_plan
from plans.run_plan import RunPlan

_LEAST_SPREAD = 0.2
_SCATTER_OF_ONE = 0.25
"""Scatter of a point's settling, as a share of it, where only one was seen. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Leg:
    """One way to a point and to rest there, in s: by the ramp, as it was, and beyond it without the soak."""

    rising: bool
    step_k: float
    ramp_s: float
    approach_s: float
    settling_s: float


@dataclass(frozen=True, slots=True)
class Walk:
    """All ways of one night, and the seconds before it first set out."""

    record: Path
    lead_in_s: float
    legs: tuple[Leg, ...]


def walk(record: Path) -> tuple[RunPlan, Walk]:
    """The ways of one record; raises RecordError, PlanError."""
    opening, phases = read_opening(record), Phases()
    body = opening.body
    run = parse_plan(body["plan"], body["bench"], body["register"])
    for entry in read_entries(record, frozenset({Kind.STATE, Kind.MILESTONE})):
        phases.take(entry, entry.utc_s - opening.utc_s)
    return run, walk_of(record, run, phases)


def walk_of(record: Path, run: RunPlan, phases: Phases) -> Walk:
    """The ways of one record, its phases told in s since it was opened."""
    lead_in_s = phases.points[0].started_s if phases.points else 0.0
    ahead = {row.index: row for row in forecast(run).rows}
    return Walk(record, lead_in_s, tuple(_legs(phases.points, ahead, run.bench.start_c)))


def walks_before(folder: Path, run: RunPlan) -> list[Walk]:
    """From the runs of the same bench in this folder; what cannot be read is passed over."""
    walks = []
    for record in sorted(folder.glob("*.record")) if folder.is_dir() else []:
        try:
            before, own = walk(record)
        except (RecordError, PlanError, OSError):
            continue
        if own.legs and same_bench(before, run):
            walks.append(own)
    return walks


def same_bench(one: RunPlan, other: RunPlan) -> bool:
    """Whether two runs stood on one bench: its name, its kind, and simulated or not."""
    return _identity(one) == _identity(other)


def learn_timing(walks: Sequence[Walk]) -> Timing | None:
    """Both directions over all walks; None when no point ever came to rest."""
    legs = [leg for walk in walks for leg in walk.legs]
    if not legs:
        return None
    ways = [[leg for leg in legs if leg.rising], [leg for leg in legs if not leg.rising]]
    small_step_s = _small_step_s(ways)
    rising, falling = (_direction(way, small_step_s) for way in ways)
    return Timing(
        lead_in_s=fmean(walk.lead_in_s for walk in walks),
        small_step_s=small_step_s,
        rising=rising,
        falling=falling,
    )


def _small_step_s(ways: Sequence[Sequence[Leg]]) -> float:
    """Slope of the settling over the smallness of the step: the median over pairs of one direction.

    A point that had to come to rest twice tells nothing of the usual one; medians do not follow it.
    """
    pairs = [
        (smallness(one.step_k) - smallness(other.step_k), one.settling_s - other.settling_s)
        for legs in ways
        for one, other in combinations(legs, 2)
    ]
    slopes = [more_s / smaller for smaller, more_s in pairs if abs(smaller) > _LEAST_SPREAD]
    return max(0.0, median(slopes)) if slopes else 0.0


def _direction(legs: Sequence[Leg], small_step_s: float) -> Direction | None:
    if not legs:
        return None
    ratio = sum(leg.approach_s for leg in legs) / max(sum(leg.ramp_s for leg in legs), 1.0)
    after_long_s = [leg.settling_s - small_step_s * smallness(leg.step_k) for leg in legs]
    settling_s = max(0.0, median(after_long_s))
    beyond_s = [leg.approach_s - ratio * leg.ramp_s + s for leg, s in zip(legs, after_long_s, strict=True)]
    scatter_s = stdev(beyond_s) if len(legs) > 1 else _SCATTER_OF_ONE * settling_s
    return Direction(approach_ratio=ratio, settling_s=settling_s, scatter_s=scatter_s, points=len(legs))


def _legs(points: Sequence[PointPath], ahead: dict[int, Row], ambient_c: float) -> Iterable[Leg]:
    before_c = ambient_c
    for point in points:
        row, step_k, before_c = ahead.get(point.index), point.temperature_c - before_c, point.temperature_c
        if row is None or row.kind == "anneal" or point.arrived_s is None or point.sequence_s is None:
            continue
        yield Leg(
            step_k >= 0.0,
            abs(step_k),
            row.approach_s,
            point.arrived_s - point.started_s,
            max(0.0, point.sequence_s - point.arrived_s - row.soak_s),
        )


def _identity(run: RunPlan) -> tuple[str, str, bool]:
    return run.bench.name, run.bench.heat_source.kind, run.bench.simulation is not None
