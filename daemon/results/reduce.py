"""From readings to one mean per point and thermometer, with the reference brought to the same mid-time."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import fmean

from daemon.channels import ChannelFacts
from daemon.fitting.type_a import Pooled, pool
from daemon.results.gather import MeasuredPoint
from daemon.results.pairs import SequenceReading
from daemon.results.sequence import Quality, quality

ToCelsius = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Reduced:
    """One thermometer at one point: means over all cycles, and what repeats from cycle to cycle.

    `temperature_c` is the reference's t90 at the mid-time of the item's own readings;
    `cycle_spread_ohm` the standard deviation between cycles after the source's drift was taken out,
    `reading_spread_ohm` that of single readings within a visit; `sensitivity_ohm_per_k` is nominal. `emf_uv`:
    thermal EMF in µV, where the current was reversed.
    """

    index: int
    stage: str
    label: str
    set_temperature_c: float
    settled: bool
    temperature_c: float
    resistance_ohm: float
    sensitivity_ohm_per_k: float
    cycles: int
    readings: int
    cycle_spread_ohm: float
    reading_spread_ohm: float
    mid_time_s: float
    source_drift_mk: float
    quality: Quality
    emf_uv: float | None = None


def reduce_point(
    point: MeasuredPoint, facts: ChannelFacts, reference_channel: int, reference_t90: ToCelsius
) -> Reduced | None:
    """Reduce one item at one point; None when no cycle has both the item and the reference."""
    own, reference = point.readings.get(facts.channel, []), point.readings.get(reference_channel, [])
    cycles = [
        cycle
        for number in sorted({reading.cycle for reading in own})
        if (cycle := _cycle(_of(own, number), _of(reference, number), reference_t90)) is not None
    ]
    if not cycles:
        return None
    resistance = fmean(cycle.resistance_ohm for cycle in cycles)
    temperature = fmean(cycle.temperature_c for cycle in cycles)
    slope = sensitivity(facts.to_celsius, resistance)
    drift_free = [c.resistance_ohm - slope * (c.temperature_c - temperature) for c in cycles]
    return Reduced(
        index=point.index,
        stage=point.stage,
        label=point.label,
        set_temperature_c=point.temperature_c,
        settled=point.settled,
        temperature_c=temperature,
        resistance_ohm=resistance,
        sensitivity_ohm_per_k=slope,
        cycles=len(cycles),
        readings=len(own),
        cycle_spread_ohm=_spread(drift_free),
        reading_spread_ohm=_within_visits(own),
        mid_time_s=fmean(cycle.mid_time_s for cycle in cycles),
        source_drift_mk=1e3 * (max(c.temperature_c for c in cycles) - min(c.temperature_c for c in cycles)),
        quality=quality(own, reference, reference_t90, slope),
        emf_uv=_emf_uv(point, facts.channel),
    )


def _emf_uv(point: MeasuredPoint, channel: int) -> float | None:
    found = point.pairs.emf_uv.get(channel) if point.pairs is not None else None
    return fmean(found) if found else None


def sensitivity(to_celsius: ToCelsius, resistance_ohm: float) -> float:
    """dR/dt in ohm per K from the nominal function."""
    step = 1e-4 * resistance_ohm
    return 2.0 * step / (to_celsius(resistance_ohm + step) - to_celsius(resistance_ohm - step))


def pooled_spread(reduced: Sequence[Reduced]) -> tuple[float, float]:
    """Pooled standard deviation between cycles in mK, and its degrees of freedom.

    Few cycles at one point say little about scatter; all points of one thermometer together say
    enough. Source: JCGM 100:2008, 4.2.4 (pooled estimate).
    """
    freedom = sum(r.cycles - 1 for r in reduced)
    if freedom <= 0:
        return 0.0, math.inf
    squares = sum((r.cycles - 1) * (1e3 * r.cycle_spread_ohm / r.sensitivity_ohm_per_k) ** 2 for r in reduced)
    return math.sqrt(squares / freedom), float(freedom)


@dataclass(frozen=True, slots=True)
class Scatter:
    """What is random at an item's points, all together: between cycles, and between single readings."""

    cycles_mk: float
    degrees_of_freedom: float
    readings: Pooled | None

    def of_mean(self, point: Reduced) -> tuple[float, float]:
        """Standard uncertainty in mK of the mean at a point, and its degrees of freedom.

        The larger of what repeats from cycle to cycle and what correlated readings leave in their mean.
        """
        by_cycles_mk = self.cycles_mk / math.sqrt(point.cycles)
        by_readings_mk = self.readings.of_mean(point.readings) if self.readings is not None else 0.0
        if self.readings is not None and by_readings_mk > by_cycles_mk:
            return by_readings_mk, self.readings.degrees_of_freedom
        return by_cycles_mk, self.degrees_of_freedom

    @property
    def readings_worth_one(self) -> float:
        """How many successive readings are worth one independent reading."""
        return self.readings.inflation if self.readings is not None else 1.0


def scatter_of(reduced: Sequence[Reduced]) -> Scatter:
    """The scatter of one item over all its points."""
    return Scatter(*pooled_spread(reduced), pooled_readings(reduced))


def pooled_readings(reduced: Sequence[Reduced]) -> Pooled | None:
    """Scatter in mK of single readings and how many of them are worth one, all points of an item together.

    Successive readings resemble each other: their mean is not √n times better than one of them.
    """
    series = [point.quality.differences_mk for point in reduced if point.readings >= 2]
    return pool(series) if series else None


@dataclass(frozen=True, slots=True)
class _Cycle:
    resistance_ohm: float
    temperature_c: float
    mid_time_s: float


def _cycle(
    own: list[SequenceReading], reference: list[SequenceReading], reference_t90: ToCelsius
) -> _Cycle | None:
    visits = [_of_visit(reference, visit) for visit in sorted({r.visit for r in reference})]
    if len(visits) < 2 or not own:
        return None
    (t0, r0), (t1, r1) = visits[0], visits[-1]
    mid_s = fmean(reading.when_s for reading in own)
    first_c, last_c = reference_t90(r0), reference_t90(r1)
    temperature_c = first_c + (last_c - first_c) * (mid_s - t0) / (t1 - t0)
    return _Cycle(fmean(reading.resistance_ohm for reading in own), temperature_c, mid_s)


def _of(readings: list[SequenceReading], cycle: int) -> list[SequenceReading]:
    return [reading for reading in readings if reading.cycle == cycle]


def _of_visit(readings: list[SequenceReading], visit: int) -> tuple[float, float]:
    own = [reading for reading in readings if reading.visit == visit]
    return fmean(r.when_s for r in own), fmean(r.resistance_ohm for r in own)


def _spread(values: list[float]) -> float:
    if len(values) < 2:
        return 0.0
    mean = fmean(values)
    return math.sqrt(sum((value - mean) ** 2 for value in values) / (len(values) - 1))


def _within_visits(readings: list[SequenceReading]) -> float:
    squares, freedom = 0.0, 0
    for key in {(reading.cycle, reading.visit) for reading in readings}:
        own = [r.resistance_ohm for r in readings if (r.cycle, r.visit) == key]
        squares += (len(own) - 1) * _spread(own) ** 2
        freedom += len(own) - 1
    return math.sqrt(squares / freedom) if freedom else 0.0
