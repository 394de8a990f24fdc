"""Is the source at rest? Judged from the thermometers' own readings, never from the controller's display.

Over one window: drift and scatter of the reference, and the drift of each item against the reference (a
thick probe lags behind a bath that is long at rest). Beside them what is left of the transient, foretold: it
says early that rest is near, but a source may drift for ever, and only the drift shows that.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

from daemon.rolling import RollingLine
from daemon.transient import Transient

_FILL = 0.95
"""A window counts as full when its readings span this part of it (readings come in cycles)."""

_TRANSIENT_WINDOWS = 1.5
"""The transient is judged over this many windows: it needs to see more of its own course."""

_LOST_BEYOND = 1.5
"""Equilibrium once reached is lost beyond this multiple of the criterion. Common practice, no source."""

_HIDDEN_BEYOND = 2.0
"""A drift known no better than this many times its limit cannot be judged. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Criterion:
    """Limits over one window; drifts are changes over the whole window, all in mK, `window_s` in s.

    `remaining_mk`: how far from its final temperature the source may still be when the soak begins.
    """

    window_s: float
    drift_mk: float
    scatter_mk: float
    item_drift_mk: float
    remaining_mk: float


@dataclass(frozen=True, slots=True)
class Evidence:
    """What was reached: drift and scatter of the reference and the worst item's drift, all in mK.

    `near` when drift or foretold remainder and all else are within the criterion: the soak may begin. `met`
    when every figure is: the soak may end. `lost` when what is demanded of `near` is missed by half, since a
    figure that only touches its limit does not undo a soak. `drift_error_mk`: standard error of the drift;
    `remaining_mk`: upper bound.
    """

    near: bool
    met: bool
    lost: bool
    window_s: float
    readings: int
    drift_mk: float
    scatter_mk: float
    item_drift_mk: float
    worst_channel: int
    drift_error_mk: float
    remaining_mk: float
    time_constant_s: float


class Equilibrium:
    """Judges rest from temperatures as they come; constant work for each reading."""

    def __init__(self, criterion: Criterion, reference_channel: int, channels: tuple[int, ...]) -> None:
        self._criterion = criterion
        self._reference_channel = reference_channel
        self._reference = RollingLine(criterion.window_s)
        self._items = {c: RollingLine(criterion.window_s) for c in channels if c != reference_channel}
        self._transient = Transient(_TRANSIENT_WINDOWS * criterion.window_s, criterion.remaining_mk)
        self._recent: deque[tuple[float, float]] = deque(maxlen=2)

    def add(self, channel: int, when_s: float, temperature_c: float) -> None:
        """Take one temperature; an item is compared with the reference carried on to its instant."""
        if channel == self._reference_channel:
            self._recent.append((when_s, temperature_c))
            self._reference.add(when_s, temperature_c)
            self._transient.add(when_s, temperature_c)
        elif channel in self._items and len(self._recent) == 2:
            self._items[channel].add(when_s, temperature_c - self._reference_at(when_s))

    def forget(self, channel: int) -> None:
        """Leave an item out from now on (it went bad); the others must not lose their night."""
        self._items.pop(channel, None)

    def too_noisy(self) -> Mapping[int, float]:
        """Items whose noise alone hides their drift while the reference is calm: its standard error in mK.

        Where all items are so, it is the bridge or the criterion, and none of them is named.
        """
        window_s, criterion = self._criterion.window_s, self._criterion
        calm = (
            self._full(self._reference)
            and abs(self._reference.slope) * window_s * 1e3 <= criterion.drift_mk
            and self._reference.scatter * 1e3 <= criterion.scatter_mk
        )
        errors = {c: line.slope_error * window_s * 1e3 for c, line in self._items.items() if self._full(line)}
        noisy = {c: mk for c, mk in errors.items() if not mk <= _HIDDEN_BEYOND * criterion.item_drift_mk}
        return noisy if calm and len(noisy) < len(self._items) else {}

    def judge(self) -> Evidence:
        """All criteria now; not met while a window is not yet full."""
        criterion, drift_mk, scatter_mk, error_mk = self._criterion, math.inf, math.inf, math.inf
        if self._full(self._reference):
            drift_mk = abs(self._reference.slope) * criterion.window_s * 1e3
            error_mk = self._reference.slope_error * criterion.window_s * 1e3
            scatter_mk = self._reference.scatter * 1e3
        drifts = {channel: self._item_drift_mk(line) for channel, line in self._items.items()}
        worst = max(drifts, key=lambda channel: drifts[channel], default=0)
        item_drift_mk = drifts.get(worst, 0.0)
        transient, drift_share = self._transient, drift_mk / criterion.drift_mk
        calm = max(scatter_mk / criterion.scatter_mk, item_drift_mk / criterion.item_drift_mk)
        share = max(calm, min(drift_share, transient.share))
        return Evidence(
            near=share <= 1.0,
            met=max(calm, drift_share, transient.share) <= 1.0,
            lost=not share <= _LOST_BEYOND,
            window_s=criterion.window_s,
            readings=self._reference.count,
            drift_mk=drift_mk,
            scatter_mk=scatter_mk,
            item_drift_mk=item_drift_mk,
            worst_channel=worst,
            drift_error_mk=error_mk,
            remaining_mk=transient.remaining_mk,
            time_constant_s=transient.time_constant_s,
        )

    def _reference_at(self, when_s: float) -> float:
        last_s, temperature_c = self._recent[1]
        return temperature_c + self._reference.slope * (when_s - last_s)

    def _full(self, line: RollingLine) -> bool:
        return line.count >= 5 and line.span_s >= _FILL * self._criterion.window_s - self._gap_s()

    def _gap_s(self) -> float:
        # The window's oldest reading left with the last cycle, so one cycle may be missing.
        return self._recent[1][0] - self._recent[0][0] if len(self._recent) == 2 else 0.0

    def _item_drift_mk(self, line: RollingLine) -> float:
        return abs(line.slope) * self._criterion.window_s * 1e3 if self._full(line) else math.inf


def criterion_in_words(criterion: Criterion) -> Mapping[str, float]:
    """The criterion as plain numbers for the record."""
    return {
        "window_s": criterion.window_s,
        "drift_mk": criterion.drift_mk,
        "scatter_mk": criterion.scatter_mk,
        "item_drift_mk": criterion.item_drift_mk,
        "remaining_mk": criterion.remaining_mk,
    }
