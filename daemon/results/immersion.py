"""Stem conduction from an immersion profile: how a thermometer's reading changes as it is withdrawn.

Heat along the stem changes the reading by S·exp(x/L) when the probe is x further out, S at full depth: an
exponential in depth, as textbooks on thermometry have it (from memory). Steps of equal length then grow by
the same ratio, which gives S; where they do not stand out of the scatter, S is only bounded.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from statistics import fmean

from daemon.channels import ChannelFacts
from daemon.results.gather import MeasuredPoint
from daemon.results.reduce import Reduced, reduce_point
from daemon.results.returns import change_k

_DEPTHS = 5
_STANDS_OUT = 3.0


@dataclass(frozen=True, slots=True)
class Immersion:
    """Changes in mK at one, two and three steps out, and what they say of the full depth.

    `conduction_mk` is S, item minus medium (0 where it is only bounded); `expanded_mk` its U, k = 2.
    """

    temperature_c: float
    depth_mm: float
    step_mm: float
    changes_mk: tuple[float, float, float]
    standard_mk: float
    conduction_mk: float
    expanded_mk: float

    @property
    def words(self) -> str:
        """The profile in a sentence, for people and for the record."""
        steps = ", ".join(
            f"{change:+.2f} mK at {place * self.step_mm:g} mm"
            for place, change in enumerate(self.changes_mk, 1)
        )
        return (
            f"stem conduction at {self.depth_mm:g} mm {self.conduction_mk:+.2f} mK "
            f"(U {self.expanded_mk:.2f} mK, k = 2) at {self.temperature_c:.0f} °C; withdrawn: {steps}"
        ).replace("-", "−")


def immersion_at(
    point: MeasuredPoint,
    facts: ChannelFacts,
    reference_channel: int,
    t90: Callable[[float], float],
    depth_mm: float,
) -> Immersion | None:
    """The profile of one item at one point; None when it was not measured to its end."""
    found: list[Reduced] = []
    for _, readings in sorted(point.by_depth.items()):
        reduced = reduce_point(replace(point, readings=readings), facts, reference_channel, t90)
        if reduced is not None:
            found.append(reduced)
    if len(found) != _DEPTHS:
        return None
    first, *out, last = found
    drift_mk = 1e3 * change_k(first, last)
    # What changed by itself from the first to the last reading at full depth is shared out over the steps.
    changes = [1e3 * change_k(first, one) - drift_mk * place / 4 for place, one in enumerate(out, start=1)]
    error_mk = _standard_mk(found) * math.sqrt(1.0 + 0.5)
    step_mm = sorted(point.by_depth)[1][1]
    conduction = conduction_mk(changes, error_mk)
    return Immersion(
        fmean(one.temperature_c for one in found),
        depth_mm,
        step_mm,
        (changes[0], changes[1], changes[2]),
        error_mk,
        *conduction,
    )


def conduction_mk(changes: list[float], standard_mk: float) -> tuple[float, float]:
    """S and its U (k = 2) in mK from the changes c at one, two and three equal steps.

    c_k = S·(q^k − 1): with q = (c3 − c2)/(c2 − c1), S = (c2 − c1)/(q·(q − 1)). Where that is lost in the
    scatter, S is less than the first change as long as a step more than doubles it (steps of 0.7 L and more).
    """
    c1, c2, c3 = changes
    if abs(c2 - c1) > _STANDS_OUT * standard_mk and (c3 - c2) / (c2 - c1) > 1.0:
        return _exact_mk(changes), _expanded_mk(changes, standard_mk)
    return 0.0, abs(c1) + 2.0 * standard_mk


def _exact_mk(changes: list[float]) -> float:
    c1, c2, c3 = changes
    q = (c3 - c2) / (c2 - c1)
    return (c2 - c1) / (q * (q - 1.0))


def _expanded_mk(changes: list[float], standard_mk: float) -> float:
    """Each change moved by its standard uncertainty in turn, quadrature."""
    middle, squares = _exact_mk(changes), 0.0
    for place in range(len(changes)):
        moved = list(changes)
        moved[place] += 0.1 * standard_mk
        squares += (10.0 * (_exact_mk(moved) - middle)) ** 2
    return 2.0 * math.sqrt(squares)


def _standard_mk(found: list[Reduced]) -> float:
    squares = [(1e3 * one.cycle_spread_ohm / one.sensitivity_ohm_per_k) ** 2 for one in found]
    return math.sqrt(fmean(squares) / min(one.cycles for one in found))
