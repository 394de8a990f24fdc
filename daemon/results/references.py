"""Several references: how far each further one is from the first at each point, and the mean of all."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from daemon.channels import ChannelFacts
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.errors import FittingError
from daemon.fitting.uncertainty import Component
from daemon.results.gather import MeasuredPoint
from daemon.results.reduce import Reduced, reduce_point


@dataclass(frozen=True, slots=True)
class Apart:
    """A further reference minus the first at one point, in mK, and what their certificates leave room for.

    `temperature_c`: the first reference's t90.
    """

    index: int
    serial: str
    temperature_c: float
    difference_mk: float
    allowed_mk: float

    @property
    def agrees(self) -> bool:
        """|En| ≤ 1, as ISO/IEC 17043 compares results."""
        return abs(self.difference_mk) <= self.allowed_mk


@dataclass(frozen=True, slots=True)
class Further:
    """A further reference: its channel, its characteristic, and the room left in mK."""

    facts: ChannelFacts
    own: Characteristic
    allowed_mk: float


def compare(
    points: Sequence[MeasuredPoint], further: Sequence[Further], channel: int, first: Characteristic
) -> tuple[Apart, ...]:
    """Every further reference at every point where it was read; `channel` is the first reference's."""
    found = []
    for point in points:
        for one in further:
            reduced = reduce_point(point, one.facts, channel, first.temperature_c)
            if reduced is None:
                continue
            try:
                own_c = one.own.temperature_c(reduced.resistance_ohm)
            except FittingError:  # a few millikelvin beyond the end of its certificate
                continue
            apart_mk = 1e3 * (own_c - reduced.temperature_c)
            found.append(Apart(point.index, one.facts.name, reduced.temperature_c, apart_mk, one.allowed_mk))
    return tuple(found)


def to_the_mean(reduced: Sequence[Reduced], aparts: Sequence[Apart]) -> tuple[Reduced, ...]:
    """The points with the mean of all references as their temperature."""
    shifts_k = _shifts_k(aparts)
    return tuple(replace(r, temperature_c=r.temperature_c + shifts_k.get(r.index, 0.0)) for r in reduced)


def disagreement(aparts: Sequence[Apart]) -> tuple[Component, ...]:
    """Half the largest difference, for the budget; nothing with a single reference."""
    if not aparts:
        return ()
    half_mk = 0.5 * max(abs(one.difference_mk) for one in aparts)
    note = "half the largest difference between the references in this run"
    return (Component("disagreement of the references", half_mk, "mK", "rectangular", note=note),)


def _shifts_k(aparts: Sequence[Apart]) -> Mapping[int, float]:
    by_point: dict[int, list[float]] = {}
    for one in aparts:
        by_point.setdefault(one.index, []).append(1e-3 * one.difference_mk)
    return {index: math.fsum(k) / (len(k) + 1) for index, k in by_point.items()}
