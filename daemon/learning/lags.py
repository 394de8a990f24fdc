"""How far each thermometer runs behind the source's display while it ramps: its time constant.

On a steady ramp a first-order lag shows as rate times time constant (textbook). What the thermometer differs
by at rest is taken out, between the two points at rest on either side of the ramp.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from statistics import fmean, stdev

import numpy as np

from daemon.learning.night import Night, Rest
from daemon.learning.source import rate_k_per_s, steady_part
from daemon.results.phases import PointPath
from plans.learned import Figure, Lag

_FEWEST_RAMPS = 2
_FEWEST_READINGS = 5


def learn_lags(nights: Sequence[Night]) -> tuple[Lag, ...]:
    """Every thermometer seen on two ramps or more, over all nights."""
    found: dict[str, list[float]] = {}
    for night in nights:
        for before, point, after in _ramps(night):
            for channel, lag_s in _lags_s(night, before, point, after):
                found.setdefault(night.run.channels[channel], []).append(lag_s)
    return tuple(
        Lag(serial=serial, lag_s=Figure(value=fmean(lags), u=stdev(lags) / math.sqrt(len(lags))))
        for serial, lags in sorted(found.items())
        if len(lags) >= _FEWEST_RAMPS
    )


def _ramps(night: Night) -> Iterable[tuple[Rest, PointPath, Rest]]:
    """Every ramp between two points at rest."""
    before: Rest | None = None
    for point in night.story.phases.points:
        after = night.rest(point)
        if before is not None and after is not None:
            yield before, point, after
        before = after


def _lags_s(night: Night, before: Rest, point: PointPath, after: Rest) -> Iterable[tuple[int, float]]:
    span = steady_part(night, point)
    if span is None:
        return
    shown = night.display_c.between(*span)
    rate, _ = rate_k_per_s(shown.when_s, shown.value)
    for channel in night.run.channels:
        trace = night.temperatures_c.get(channel)
        if trace is None or not (channel in before.channels_c and channel in after.channels_c):
            continue
        seen = trace.between(*span)
        if len(seen.value) >= _FEWEST_READINGS:
            display = np.interp(seen.when_s, shown.when_s, shown.value)
            at_rest = np.interp(
                display,
                *_ascending(
                    (before.display_c, after.display_c), (_excess(before, channel), _excess(after, channel))
                ),
            )
            yield channel, float((display - seen.value - at_rest).mean() / rate)


def _excess(rest: Rest, channel: int) -> float:
    return rest.display_c - rest.channels_c[channel]


def _ascending(
    x: tuple[float, float], y: tuple[float, float]
) -> tuple[tuple[float, float], tuple[float, float]]:
    return (x, y) if x[0] < x[1] else (x[::-1], y[::-1])
