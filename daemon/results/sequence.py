"""The quality of one reading sequence: item against reference, reading by reading, with what stands out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import fmean, median

from daemon.results.pairs import SequenceReading

_FAR = 5.0
"""A reading this many robust standard deviations from the middle is flagged. Common practice, no source."""

_MAD_TO_S = 1.4826
"""Standard deviation of normal noise over its median absolute deviation."""

_RESOLVED_MK = 0.05
"""Noise below this is the bridge's last digit; nothing is flagged for it. Common practice, no source."""

ToCelsius = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Quality:
    """Differences item − reference in mK about their mean, in order of time, and which of them stand out.

    `drift_left_mk`: the change of the difference over the whole sequence by a straight line; what the source
    did to both alike is not in it. `outliers` are places in `differences_mk`: flagged, never dropped.
    """

    differences_mk: tuple[float, ...]
    drift_left_mk: float
    outliers: tuple[int, ...]


def quality(
    own: Sequence[SequenceReading],
    reference: Sequence[SequenceReading],
    t90: ToCelsius,
    ohm_per_k: float,
) -> Quality:
    """Judge the readings of one item at one point against the reference, interpolated to their instants.

    `t90`: the reference's ohm → °C; `ohm_per_k`: the item's sensitivity.
    """
    course = _Course(reference, t90)
    item_ohm = fmean(reading.resistance_ohm for reading in own)
    raw = [1e3 * ((r.resistance_ohm - item_ohm) / ohm_per_k - course.at(r.when_s)) for r in own]
    middle = fmean(raw)
    centred = tuple(value - middle for value in raw)
    return Quality(centred, _drift(own, centred), _outliers(centred))


class _Course:
    """The reference's temperature between the means of its visits, held before the first and after them."""

    def __init__(self, readings: Sequence[SequenceReading], t90: ToCelsius) -> None:
        visits: dict[tuple[int, int], list[SequenceReading]] = {}
        for reading in readings:
            visits.setdefault((reading.cycle, reading.visit), []).append(reading)
        self._knots = [
            (fmean(r.when_s for r in visit), t90(fmean(r.resistance_ohm for r in visit)))
            for visit in visits.values()
        ]

    def at(self, when_s: float) -> float:
        before = self._knots[0]
        for after in self._knots:
            if after[0] > when_s:
                break
            before = after
        if after[0] <= before[0]:
            return before[1]
        share = min(max((when_s - before[0]) / (after[0] - before[0]), 0.0), 1.0)
        return before[1] + share * (after[1] - before[1])


def _drift(own: Sequence[SequenceReading], values: Sequence[float]) -> float:
    middle_s = fmean(reading.when_s for reading in own)
    square = sum((reading.when_s - middle_s) ** 2 for reading in own)
    if not square > 0.0:
        return 0.0
    slope = sum((r.when_s - middle_s) * v for r, v in zip(own, values, strict=True)) / square
    return slope * (own[-1].when_s - own[0].when_s)


def _outliers(values: Sequence[float]) -> tuple[int, ...]:
    middle = median(values)
    spread_mk = max(_MAD_TO_S * median(abs(value - middle) for value in values), _RESOLVED_MK)
    return tuple(n for n, value in enumerate(values) if not abs(value - middle) <= _FAR * spread_mk)
