"""How far a source still is from where it will come to rest: the end of a transient foretold from its slope.

A source at rest within d approaches as d·exp(−t/τ). The slopes of two windows, one a little older than the
other, give τ while both stand out of the noise; from then on it is held, since slopes lost in the noise say
nothing about it. The slope of the newest window and τ together give what is left.
"""

from __future__ import annotations

import math
from collections import deque

from daemon.rolling import RollingLine

_GAP = 1.0 / 18.0
"""Age difference of the two windows, as a part of their length."""

_SMOOTHED_OVER = 2.0 / 15.0
"""τ is averaged over this part of the window, or correlated noise makes it jump."""

_STANDS_OUT = 3.0
_LARGE_CHANGES = 2.0
"""τ is learnt from slopes beyond three standard errors and changes beyond twice the limit asked for."""

_SURE = 5.0
"""Standard errors added to what is left: asked every second for an hour, it must not answer too early."""

_USED_SHARE = ((1.0, 0.35), (3.0, 0.825))
"""Part of the limit that is used, at 1 mK and from 3 mK on, so that fewer than one approach in a hundred is
taken too early: a slow second part of the approach, not yet seen in τ, weighs more the smaller the limit.

All figures were found with tests/benchmarks/equilibrium.py, which prints what they are worth.
"""

_SLOWEST, _FASTEST = 4.0 / 3.0, 1.0 / 15.0
"""τ believed, as parts of the window."""


class Transient:
    """Keeps a window of readings (s, °C); `remaining_mk` is an upper bound of what is left, in mK."""

    def __init__(self, window_s: float, limit_mk: float) -> None:
        self._window_s = window_s
        self._limit_mk = limit_mk
        self._used_mk = limit_mk * _used_share(limit_mk)
        self._line = RollingLine(window_s)
        self._slopes: deque[tuple[float, float]] = deque()
        self._rate: float | None = None
        self._unshown_mk = math.inf
        self._last_s = -math.inf

    def add(self, when_s: float, temperature_c: float) -> None:
        """Take one reading; constant work."""
        self._line.add(when_s, temperature_c)
        if self.full:
            self._learn(when_s, self._line.slope)
            self._let_fade(when_s - self._last_s)
        self._last_s = when_s

    @property
    def full(self) -> bool:
        """True when the readings span the window but for the gap between two of them."""
        line = self._line
        return line.count >= 5 and line.span_s * (1.0 + 1.5 / line.count) >= self._window_s

    @property
    def time_constant_s(self) -> float:
        """τ in s; the slowest one believed until the source has shown its own."""
        return 1.0 / self._rate if self._rate is not None else _SLOWEST * self._window_s

    @property
    def remaining_mk(self) -> float:
        """Upper bound of what is left, in mK; infinite while the window is not full."""
        if not self.full:
            return math.inf
        return self._foretold_mk() if self._rate is not None else self._unshown_mk

    def _foretold_mk(self) -> float:
        slope = abs(self._line.slope) + _SURE * self._line.slope_error
        return 1e3 * slope * self._window_s / _steepness(self._window_s / self.time_constant_s)

    @property
    def share(self) -> float:
        """What is left over what may be left: the transient is over from 1 down."""
        return self.remaining_mk / self._used_mk

    def _let_fade(self, passed_s: float) -> None:
        """A source that began at rest shows no τ: what noise could hide fades by the slowest one believed."""
        faded_mk = self._unshown_mk * math.exp(-passed_s / self.time_constant_s)
        quiet = abs(self._line.slope) <= _STANDS_OUT * self._line.slope_error
        self._unshown_mk = min(self._foretold_mk(), faded_mk) if quiet else self._foretold_mk()

    def _learn(self, when_s: float, slope: float) -> None:
        slopes, gap_s = self._slopes, _GAP * self._window_s
        slopes.append((when_s, slope))
        while len(slopes) > 1 and slopes[1][0] <= when_s - gap_s:
            slopes.popleft()
        older_s, older = slopes[0]
        least = max(
            _STANDS_OUT * self._line.slope_error, 1e-3 * _LARGE_CHANGES * self._limit_mk / self._window_s
        )
        if when_s - older_s < gap_s or not (
            abs(slope) > least and abs(older) > least and slope * older > 0.0
        ):
            return
        rate = math.log(older / slope) / (when_s - older_s)
        believed = min(max(rate, 1.0 / (_SLOWEST * self._window_s)), 1.0 / (_FASTEST * self._window_s))
        if self._rate is None:
            self._rate = believed
        share = min(1.0, (when_s - self._last_s) / (_SMOOTHED_OVER * self._window_s))
        self._rate += share * (believed - self._rate)


def _used_share(limit_mk: float) -> float:
    (low_mk, low), (high_mk, high) = _USED_SHARE
    return low + (high - low) * min(max((limit_mk - low_mk) / (high_mk - low_mk), 0.0), 1.0)


def _steepness(u: float) -> float:
    """Change by the least-squares line over a window of u time constants, per what is left at its end.

    For exp(−t/τ): 12 · (e^u (1/(2u) − 1/u²) + 1/(2u) + 1/u²).
    """
    return 12.0 * (math.exp(u) * (0.5 / u - 1.0 / u**2) + 0.5 / u + 1.0 / u**2)
