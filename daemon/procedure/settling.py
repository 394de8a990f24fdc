"""Waiting for true equilibrium, then soaking: the soak begins when rest is near, not at the set-point.

It ends when it has lasted long enough and the whole criterion is met, the limit of lasting drift included.
"""

from __future__ import annotations

import math
from collections.abc import Generator
from typing import Any

from daemon.actions import Action, Mark
from daemon.equilibrium import Equilibrium, Evidence, criterion_in_words
from daemon.observations import Observation
from daemon.procedure.script import Point
from daemon.procedure.watching import Watching

_ARRIVED_WITHIN_K = 2.0
"""A source at rest further than this from its set-point has not arrived (0.2 % of t is added)."""


def settle_and_soak(watching: Watching, point: Point) -> Generator[Action, Observation, bool]:
    """Scan until equilibrium has lasted for the soak; False when the longest wait is over first.

    The longest wait is counted from arrival; how long the way may take is the guards' business.
    """
    script = watching.script
    equilibrium = Equilibrium(point.criterion, script.reference_channel, watching.items)
    arrived_s: float | None = None
    settled_s: float | None = None
    noise = _Noise(1.5 * point.criterion.window_s)
    while True:
        yield from _scan_into(equilibrium, watching, point)
        yield from noise.leave_out(equilibrium, watching)
        evidence, now_s = equilibrium.judge(), watching.now_s
        if arrived_s is None and arrived(watching, point):
            arrived_s = now_s
            yield Mark("arrived", {"index": point.index, "temperature_c": point.temperature_c})
        near = evidence.near and arrived(watching, point)
        if near and settled_s is None:
            settled_s = now_s
            yield Mark("settled", _in_words(point, evidence))
        elif evidence.lost and settled_s is not None:
            settled_s = None
            yield Mark("unsettled", _in_words(point, evidence))
        if near and evidence.met and settled_s is not None and now_s - settled_s >= point.minimum_soak_s:
            yield Mark("soaked", _in_words(point, evidence))
            return True
        if arrived_s is not None and now_s - arrived_s > point.maximum_wait_s:
            yield Mark("longest_wait_over", _in_words(point, evidence))
            return False


class _Noise:
    """Leaves out an item that stays too noisy for longer than one bad reading stands in the window.

    Its drift can never be judged: without this it would cost all the others their points.
    """

    def __init__(self, longest_s: float) -> None:
        self._longest_s = longest_s
        self._since_s: dict[int, float] = {}

    def leave_out(self, equilibrium: Equilibrium, watching: Watching) -> Generator[Action, Observation, None]:
        noisy, now_s = equilibrium.too_noisy(), watching.now_s
        self._since_s = {channel: self._since_s.get(channel, now_s) for channel in noisy}
        for channel, since_s in self._since_s.items():
            if now_s - since_s > self._longest_s and channel in watching.items:
                why = f"too noisy: its drift over one window is known to ±{noisy[channel]:.1f} mK only"
                yield from watching.leave_out(channel, why)


def _scan_into(
    equilibrium: Equilibrium, watching: Watching, point: Point
) -> Generator[Action, Observation, None]:
    for left_out in watching.left_out:
        equilibrium.forget(left_out)
    for reading in (yield from watching.scan(point.current_ma)):
        equilibrium.add(reading.channel, reading.when_s, watching.temperatures_c[reading.channel])


def arrived(watching: Watching, point: Point) -> bool:
    """True when the reference is near the set-point."""
    reference_c = watching.temperatures_c[watching.script.reference_channel]
    within_k = _ARRIVED_WITHIN_K + 0.002 * abs(point.temperature_c)
    return abs(reference_c - point.temperature_c) <= within_k


def _in_words(point: Point, evidence: Evidence) -> dict[str, Any]:
    """What was demanded and what was reached, for the record."""
    reached = {
        "drift_mk": _known(evidence.drift_mk),
        "scatter_mk": _known(evidence.scatter_mk),
        "item_drift_mk": _known(evidence.item_drift_mk),
        "drift_error_mk": _known(evidence.drift_error_mk),
        "remaining_mk": _known(evidence.remaining_mk),
        "time_constant_s": _known(evidence.time_constant_s),
        "worst_channel": evidence.worst_channel,
        "readings": evidence.readings,
    }
    return {"index": point.index, "demanded": criterion_in_words(point.criterion), "reached": reached}


def _known(value: float) -> float | None:
    return round(value, 4) if math.isfinite(value) else None
