"""What the heat source's display is worth, how fast it goes, and how far it swings past its set-point."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from statistics import fmean, stdev

import numpy as np

from daemon.certified import component_of
from daemon.fitting.arrays import FloatArray
from daemon.fitting.least_squares import ordinary
from daemon.learning.night import Night
from daemon.results.phases import PointPath
from plans.learned import Display, Figure, Source
from plans.run_plan import RunPlan

_STEADY_FROM, _STEADY_TO = 0.25, 0.75
"""Part of an approach that is neither start nor arrival."""
_SMALLEST_RAMP_K = 8.0
_FEWEST_LOOKS = 20
_FEWEST_RESTS = 3


def learn_display(nights: Sequence[Night]) -> Display | None:
    """Straight line through controller minus reference at every point at rest; None below three points."""
    rests = [rest for night in nights for point in night.story.phases.points if (rest := night.rest(point))]
    if len(rests) < _FEWEST_RESTS:
        return None
    at_c = np.array([rest.reference_c for rest in rests])
    excess_k = np.array([rest.display_c - rest.reference_c for rest in rests])
    scatter_mk = 1e3 * math.sqrt(fmean(rest.scatter_k**2 for rest in rests))
    if not np.ptp(at_c) > _SMALLEST_RAMP_K:
        offset = Figure(value=float(excess_k.mean()), u=float(excess_k.std(ddof=1)))
        return Display(offset_k=offset, slope=Figure(value=0.0, u=0.0), scatter_mk=scatter_mk)
    line, s_k = ordinary(np.stack([np.ones_like(at_c), at_c], axis=1), excess_k)
    (offset_k, slope), (u_offset, u_slope) = line.estimate, s_k * np.sqrt(np.diagonal(line.covariance))
    u_offset = math.hypot(u_offset, _common_k(nights[0].run))
    return Display(
        offset_k=Figure(value=float(offset_k), u=float(u_offset)),
        slope=Figure(value=float(slope), u=float(u_slope)),
        scatter_mk=scatter_mk,
    )


def _common_k(run: RunPlan) -> float:
    """What every point of that night shares, in K: the certificate and the bench's constant terms."""
    calibration = run.reference.calibration
    certificate_mk = (
        0.0 if calibration is None else calibration.expanded_uncertainty_mk / calibration.coverage_factor
    )
    constant = (t for t in run.bench.uncertainty if t.unit == "mK" and t.shape == "constant")
    terms = (component_of(term, run.bench.ambient_c).standard for term in constant)
    return 1e-3 * math.hypot(certificate_mk, *terms)


def learn_source(nights: Sequence[Night]) -> Source:
    """Fastest sustained rates of heating and cooling, and the mean swing past the set-point."""
    rates = [rate for night in nights for rate in _rates(night)]
    swings = [swing for night in nights for swing in _swings(night)]
    return Source(
        heating_k_per_min=max((r for r in rates if r.value > 0.0), key=lambda r: r.value, default=None),
        cooling_k_per_min=min((r for r in rates if r.value < 0.0), key=lambda r: r.value, default=None),
        overshoot_k=_mean(swings),
    )


def steady_part(night: Night, point: PointPath) -> tuple[float, float] | None:
    """From when to when, in s, an approach ran at its own pace; None when it was too short to tell."""
    if point.arrived_s is None:
        return None
    seen = night.display_c.between(point.started_s, point.arrived_s)
    if len(seen.value) < _FEWEST_LOOKS or not abs(seen.value[-1] - seen.value[0]) > _SMALLEST_RAMP_K:
        return None
    length_s = point.arrived_s - point.started_s
    return point.started_s + _STEADY_FROM * length_s, point.started_s + _STEADY_TO * length_s


def rate_k_per_s(when_s: FloatArray, value_c: FloatArray) -> tuple[float, float]:
    """Slope of a straight line and its standard uncertainty, in K/s."""
    line, s_k = ordinary(np.stack([np.ones_like(when_s), when_s - when_s.mean()], axis=1), value_c)
    return float(line.estimate[1]), s_k * math.sqrt(line.covariance[1, 1])


def _rates(night: Night) -> Iterable[Figure]:
    for point in night.story.phases.points:
        span = steady_part(night, point)
        if span is not None:
            seen = night.display_c.between(*span)
            rate, u = rate_k_per_s(seen.when_s, seen.value)
            yield Figure(value=60.0 * rate, u=60.0 * u)


def _swings(night: Night) -> Iterable[float]:
    """How far the display passed each set-point, in K, from arrival to rest."""
    before_c = night.run.bench.ambient_c
    for point in night.story.phases.points:
        rising, before_c = point.temperature_c >= before_c, point.temperature_c
        if point.arrived_s is None or point.settled_s is None:
            continue
        seen = night.display_c.between(point.arrived_s, point.settled_s).value
        orders = night.story.traces.set_point_c.between(point.arrived_s, point.settled_s).value
        if len(seen) and len(orders):
            past = seen.max() - orders[-1] if rising else orders[-1] - seen.min()
            yield max(0.0, float(past))


def _mean(values: Sequence[float]) -> Figure | None:
    if not values:
        return None
    u = stdev(values) / math.sqrt(len(values)) if len(values) > 1 else abs(values[0])
    return Figure(value=fmean(values), u=u)
