"""How long the bench really took, from the milestones of its own records."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import fmean, stdev

import numpy as np

from daemon.fitting.arrays import FloatArray
from daemon.journal.entry import Kind
from daemon.journal.read import RecordError, read_entries, read_opening
from daemon.results.phases import Phases, PointPath
from daemon.timetable import approach_time_s, hotness, smallness
from plans.errors import PlanError
from plans.learned import Cooling, Direction, Timing
from plans.loading import parse_plan
from plans.run_plan import RunPlan
from plans.unroll import Step, unroll

_LEAST_SPREAD = 0.2
_FEWEST_WAYS_DOWN = 3
_BELOW_K = tuple(2.0 * 1.25**n for n in range(20))
_CONSTANTS_S = tuple(300.0 * 1.15**n for n in range(32))
"""What is tried: up to 140 K below the lowest point, and time constants from 5 min to 6 h."""
_FEWEST_WAYS = 6
_USUAL_SCATTER, _USUAL_IS_WORTH = 0.2, 10
"""Scatter of a point's settling, as a share of it, and how many points that is worth.

Common practice, no source; held against nights in `tests/campaigns/forecasts.py`.
"""
_ROUNDS, _AS_GOOD_AS_HIT_S = 60, 20.0


@dataclass(frozen=True, slots=True)
class Leg:
    """One way to a point and to rest there: as long as it was, and beyond it without the soak, in s."""

    run: RunPlan
    from_c: float
    to_c: float
    ramp_k_per_min: float
    approach_s: float
    settling_s: float

    @property
    def rising(self) -> bool:
        """Whether it led upwards."""
        return self.to_c >= self.from_c

    @property
    def step_k(self) -> float:
        """How far it was."""
        return abs(self.to_c - self.from_c)

    def ramp_s(self, cooling: Cooling | None) -> float:
        """How long it should have taken by its ramp, or by how fast the bench cools."""
        return approach_time_s(self.run, self.from_c, self.to_c, self.ramp_k_per_min, cooling)


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
    return Walk(record, lead_in_s, tuple(_legs(run, phases.points)))


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
    cooling, rest = learn_cooling(ways[1]), _learn_rest(legs)
    ratios = [_ratio(way, cooling) for way in ways]
    off_s = [
        leg.approach_s - ratio * leg.ramp_s(cooling) + leg.settling_s - rest.settling_s(leg)
        for way, ratio in zip(ways, ratios, strict=True)
        for leg in way
    ]
    scatter_s = _scatter_s(off_s, rest.settling_100_s)
    # Points that had to rest twice do not bend the law, but the whole night is as long as their mean.
    settling_s = max(0.0, rest.settling_100_s + fmean(off_s))
    rising, falling = (
        Direction(approach_ratio=ratio, settling_s=settling_s, scatter_s=scatter_s, points=len(way))
        if way
        else None
        for way, ratio in zip(ways, ratios, strict=True)
    )
    return Timing(
        lead_in_s=fmean(walk.lead_in_s for walk in walks),
        small_step_s=rest.small_step_s,
        hotter_s=rest.hotter_s,
        cooling=cooling,
        rising=rising,
        falling=falling,
    )


@dataclass(frozen=True, slots=True)
class _Rest:
    """How long points take to come to rest, in s: at 100 °C after a long ramp, and what moves it."""

    settling_100_s: float
    small_step_s: float = 0.0
    hotter_s: float = 0.0

    def settling_s(self, leg: Leg) -> float:
        """For one way."""
        moved_s = self.small_step_s * smallness(leg.step_k) + self.hotter_s * hotness(leg.to_c)
        return max(0.0, self.settling_100_s + moved_s)


def _learn_rest(legs: Sequence[Leg]) -> _Rest:
    """By least absolute deviations: a point that had to come to rest twice tells nothing of the usual one."""
    settled_s = np.array([leg.settling_s for leg in legs])
    columns = np.array([[1.0, smallness(leg.step_k), hotness(leg.to_c)] for leg in legs])
    told = [0, *(n for n in (1, 2) if len(legs) >= _FEWEST_WAYS and np.ptp(columns[:, n]) > _LEAST_SPREAD)]
    found = np.zeros(3)
    found[told] = _least_absolute(columns[:, told], settled_s)
    return _Rest(max(0.0, float(found[0])), max(0.0, float(found[1])), float(found[2]))


def _least_absolute(columns: FloatArray, values: FloatArray) -> FloatArray:
    """(k,) factors on (n, k) columns; by least squares weighted anew (textbook)."""
    weight = np.ones(len(values))
    for _ in range(_ROUNDS):
        root = np.sqrt(weight)
        found = np.linalg.lstsq(columns * root[:, None], values * root, rcond=None)[0]
        weight = 1.0 / np.maximum(np.abs(values - columns @ found), _AS_GOOD_AS_HIT_S)
    return np.asarray(found)


def _ratio(legs: Sequence[Leg], cooling: Cooling | None) -> float:
    if not legs:
        return 1.0
    return sum(leg.approach_s for leg in legs) / max(sum(leg.ramp_s(cooling) for leg in legs), 1.0)


def _scatter_s(off_s: Sequence[float], settling_s: float) -> float:
    """Standard deviation, with what is usual counted in: few nights show a point that had to rest twice."""
    usual_s2 = (_USUAL_SCATTER * settling_s) ** 2
    square_s2 = (len(off_s) - 1) * stdev(off_s) ** 2 if len(off_s) > 1 else 0.0
    return math.sqrt((square_s2 + _USUAL_IS_WORTH * usual_s2) / (len(off_s) - 1 + _USUAL_IS_WORTH))


def learn_cooling(falling: Sequence[Leg]) -> Cooling | None:
    """The law by which the ways down are least wrong altogether; None where the ramp alone says as much."""
    if len(falling) < _FEWEST_WAYS_DOWN:
        return None
    lowest_c = min(leg.to_c for leg in falling)
    laws: list[Cooling | None] = [
        Cooling(towards_c=lowest_c - below_k, time_constant_s=constant_s)
        for below_k in _BELOW_K
        for constant_s in _CONSTANTS_S
    ]
    return min([None, *laws], key=lambda law: _wrong_by_s(falling, law))


def _wrong_by_s(legs: Sequence[Leg], law: Cooling | None) -> float:
    return sum(abs(leg.approach_s - leg.ramp_s(law)) for leg in legs)


def _legs(run: RunPlan, points: Sequence[PointPath]) -> Iterable[Leg]:
    steps = {step.index: step for step in unroll(run) if isinstance(step, Step)}
    before_c = run.bench.start_c
    for point in points:
        step, from_c, before_c = steps.get(point.index), before_c, point.temperature_c
        if step is None or step.kind == "anneal" or point.arrived_s is None or point.sequence_s is None:
            continue
        yield Leg(
            run,
            from_c,
            point.temperature_c,
            step.ramp_k_per_min,
            point.arrived_s - point.started_s,
            max(0.0, point.sequence_s - point.arrived_s - step.soak_s),
        )


def _identity(run: RunPlan) -> tuple[str, str, bool]:
    return run.bench.name, run.bench.heat_source.kind, run.bench.simulation is not None
