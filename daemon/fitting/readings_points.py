"""From hand-collected readings to points: means, pooled scatter, zero-power extrapolation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daemon.fitting import its90
from daemon.fitting.arrays import FloatArray
from daemon.fitting.errors import BadReadings
from daemon.fitting.points import PointResult
from daemon.fitting.readings_csv import HandReading
from daemon.fitting.self_heating import zero_power
from daemon.fitting.type_a import Pooled, pool

# Points this far apart in W (about 5 K) tell the thermometer's slope.
_SPAN_FOR_SLOPE = 0.02


@dataclass(frozen=True)
class _Group:
    """Readings of one point at one current, brought to their mean temperature."""

    current_ma: float | None
    temperature_c: float
    mean_ohm: float
    settled_ohm: FloatArray


def points_from_readings(
    readings: Sequence[HandReading], single_reading_ohm: float | None = None
) -> tuple[PointResult, ...]:
    """One point a label, in order of first appearance; two currents give the zero-power resistance.

    Scatter is pooled over all points, autocorrelation counted. Without any repeated reading its standard
    deviation must be given as `single_reading_ohm`. Raises BadReadings.
    """
    scale_ohm = _ohm_per_reference_ratio(readings)
    points = _groups(readings, scale_ohm)
    repeated = [g.settled_ohm for groups in points.values() for g in groups if g.settled_ohm.size > 1]
    pooled = pool(repeated) if repeated else None
    if pooled is None or pooled.standard_deviation == 0:
        pooled = _given(single_reading_ohm)
    return tuple(_point(label, groups, pooled, scale_ohm) for label, groups in points.items())


def _given(single_reading_ohm: float | None) -> Pooled:
    if single_reading_ohm is None or not (0 < single_reading_ohm < 1e3):
        raise BadReadings(
            "the readings show no scatter (one a point, or all alike): repeat readings under one label, "
            "or state the standard deviation of a single reading in ohm"
        )
    return Pooled(single_reading_ohm, 1.0, float("inf"))


def _ohm_per_reference_ratio(readings: Sequence[HandReading]) -> float:
    """dR/dWr of this thermometer: R is nearly a straight line in Wr(t) for any platinum.

    It only takes a bath's small drift out of the readings; with one point it is R/Wr, about 2 % off for
    industrial platinum.
    """
    ratio = its90.reference_ratio([reading.temperature_c for reading in readings])
    ohms = np.array([reading.resistance_ohm for reading in readings])
    if np.ptp(ratio) < _SPAN_FOR_SLOPE:
        return float(np.median(ohms / ratio))
    away = ratio - ratio.mean()
    return float(away @ ohms / (away @ away))


def _groups(readings: Sequence[HandReading], scale_ohm: float) -> dict[str, list[_Group]]:
    """Readings gathered by point, and within a point by current."""
    gathered: dict[str, dict[float | None, list[HandReading]]] = {}
    for reading in readings:
        gathered.setdefault(reading.label, {}).setdefault(reading.current_ma, []).append(reading)
    return {
        label: [_group(label, current, same, scale_ohm) for current, same in by_current.items()]
        for label, by_current in gathered.items()
    }


def _group(label: str, current_ma: float | None, readings: Sequence[HandReading], scale_ohm: float) -> _Group:
    temperature = np.array([reading.temperature_c for reading in readings])
    resistance = np.array([reading.resistance_ohm for reading in readings])
    if np.ptp(temperature) > 2.0:
        raise BadReadings(
            f"point {label!r}: its readings span {np.ptp(temperature):.2f} K; "
            "readings of one point lie within 2 K"
        )
    steepness = scale_ohm * its90.reference_slope_per_k(temperature)
    settled = resistance - steepness * (temperature - temperature.mean())
    return _Group(current_ma, float(temperature.mean()), float(resistance.mean()), settled)


def _point(label: str, groups: Sequence[_Group], pooled: Pooled, scale_ohm: float) -> PointResult:
    if len(groups) == 1:
        (only,) = groups
        return PointResult(
            label, only.temperature_c, only.mean_ohm, _random(only, pooled), pooled.degrees_of_freedom
        )
    if len(groups) > 2 or any(group.current_ma is None for group in groups):
        raise BadReadings(
            f"point {label!r}: readings at one or two currents are wanted, each with current_ma"
        )
    low, high = sorted(groups, key=lambda group: group.current_ma or 0.0)
    ratio = high.mean_ohm / low.mean_ohm
    # Both currents are brought to the first one's temperature before extrapolating.
    steepness = scale_ohm * float(its90.reference_slope_per_k(low.temperature_c))
    level = high.mean_ohm - steepness * (high.temperature_c - low.temperature_c)
    if not (0.9 < ratio < 1.1):
        raise BadReadings(f"point {label!r}: the two currents differ by more than 10 % in resistance")
    zero = zero_power(
        (low.current_ma or 0.0, low.mean_ohm),
        (high.current_ma or 0.0, level),
        (_random(low, pooled), _random(high, pooled)),
    )
    return PointResult(
        label, low.temperature_c, zero.resistance_ohm, zero.standard_ohm, pooled.degrees_of_freedom
    )


def _random(group: _Group, pooled: Pooled) -> float:
    return pooled.of_mean(group.settled_ohm.size)
