"""How much the measuring current warms a thermometer, from readings at two currents at one point."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from statistics import fmean

from daemon.channels import ChannelFacts
from daemon.fitting.self_heating import zero_power
from daemon.results.gather import MeasuredPoint
from daemon.results.reduce import Reduced, reduce_point


@dataclass(frozen=True, slots=True)
class SelfHeating:
    """Heating in mK at the first current, R at no current in ohm at `temperature_c`, standard uncertainties.

    Both count the noise of both currents, weighted by their squares; s is that between cycles, pooled.
    """

    temperature_c: float
    current_ma: float
    second_current_ma: float
    heating_mk: float
    standard_mk: float
    zero_power_ohm: float
    zero_power_standard_ohm: float


def self_heating_at(
    point: MeasuredPoint, facts: ChannelFacts, reference_channel: int, t90: Callable[[float], float]
) -> SelfHeating | None:
    """Self-heating of one item at one point; None when it was not measured at two currents."""
    found: dict[float, Reduced] = {}
    for current_ma, readings in point.by_current.items():
        reduced = reduce_point(replace(point, readings=readings), facts, reference_channel, t90)
        if reduced is not None:
            found[current_ma] = reduced
    seconds = [current_ma for current_ma in found if current_ma != point.current_ma]
    if point.current_ma not in found or not seconds:
        return None
    first, second = found[point.current_ma], found[seconds[0]]
    middle_c = fmean((first.temperature_c, second.temperature_c))
    first_ohm, second_ohm = (_at(reduced, middle_c) for reduced in (first, second))
    spread_ohm = math.hypot(first.cycle_spread_ohm, second.cycle_spread_ohm) / math.sqrt(2.0)
    error_ohm = spread_ohm / math.sqrt(min(first.cycles, second.cycles))
    zero = zero_power((point.current_ma, first_ohm), (seconds[0], second_ohm), (error_ohm, error_ohm))
    weight = point.current_ma**2 / abs(seconds[0] ** 2 - point.current_ma**2)
    per_mk = 1e3 / first.sensitivity_ohm_per_k
    return SelfHeating(
        middle_c,
        point.current_ma,
        seconds[0],
        zero.heating_ohm * per_mk,
        weight * math.sqrt(2.0) * error_ohm * per_mk,
        zero.resistance_ohm,
        zero.standard_ohm,
    )


def _at(reduced: Reduced, temperature_c: float) -> float:
    return reduced.resistance_ohm - reduced.sensitivity_ohm_per_k * (reduced.temperature_c - temperature_c)
