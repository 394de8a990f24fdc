"""Curves as SVG paths in a box of 1000 by 100, which the page stretches; words around it are HTML."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daemon.results.markup import Html, element
from daemon.results.traces import Trace, extremes

WIDE, HIGH = 1000.0, 100.0
_NICE = (1.0, 2.0, 5.0)
_TICKS_S = (10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400, 28800)


@dataclass(frozen=True)
class Window:
    """A span of the run in s since it was opened, and how many columns it is drawn with."""

    start_s: float
    end_s: float
    columns: int

    @property
    def length_s(self) -> float:
        """Its length in s."""
        return self.end_s - self.start_s

    def of(self, trace: Trace) -> Trace:
        """The part of a trace that lies in it."""
        return trace.between(self.start_s, self.end_s)


@dataclass(frozen=True)
class Scale:
    """What the lower and the upper edge of the box mean."""

    low: float
    high: float


def curve(trace: Trace, window: Window, scale: Scale) -> str:
    """The path of a trace: at most its lowest and highest value a column, so that no spike is lost."""
    few = extremes(window.of(trace), window.start_s, window.end_s, window.columns)
    if not len(few.when_s):
        return ""
    x = (few.when_s - window.start_s) / window.length_s * WIDE
    y = HIGH - (few.value - scale.low) / (scale.high - scale.low) * HIGH
    y = np.clip(y, -1.0, HIGH + 1.0)
    points = [f"{a:.1f} {b:.1f}" for a, b in zip(x.tolist(), y.tolist(), strict=True)]
    return "M" + "L".join(points)


def steps(trace: Trace, window: Window, scale: Scale) -> str:
    """The same for a value that holds until the next one: changes only."""
    inside = window.of(trace)
    if not len(inside.when_s):
        return ""
    kept = np.flatnonzero(np.diff(inside.value, prepend=inside.value[0] - 1.0))
    x = (inside.when_s[kept] - window.start_s) / window.length_s * WIDE
    y = HIGH - (inside.value[kept] - scale.low) / (scale.high - scale.low) * HIGH
    moves = [f"H{a:.1f}V{b:.1f}" for a, b in zip(x.tolist(), y.tolist(), strict=True)]
    last = (inside.when_s[-1] - window.start_s) / window.length_s * WIDE
    return f"M{x[0]:.1f} {y[0]:.1f}" + "".join(moves[1:]) + f"H{last:.1f}"


def band(window: Window, start_s: float, end_s: float, cls: str, title: str) -> Html:
    """A span of time as a rectangle over the whole height; nothing when it lies outside."""
    left = max(0.0, (start_s - window.start_s) / window.length_s * WIDE)
    right = min(WIDE, (end_s - window.start_s) / window.length_s * WIDE)
    if not right > left:
        return Html("")
    place = {"x": f"{left:.1f}", "y": "0", "width": f"{right - left:.1f}", "height": f"{HIGH:.0f}"}
    return element("rect", element("title", title), cls=cls, **place)


def picture(description: str, *parts: Html, cls: str = "plot") -> Html:
    """The box with its parts, described for those who hear the page."""
    box = {"viewBox": f"0 0 {WIDE:.0f} {HIGH:.0f}", "preserveAspectRatio": "none", "role": "img"}
    return element("svg", *parts, cls=cls, **box, **{"aria-label": description})


def line(path: str, cls: str) -> Html:
    """A path; nothing for an empty one."""
    return element("path", d=path, cls=cls) if path else Html("")


def rule(share: float, cls: str = "rule") -> Html:
    """A horizontal line at a share of the height, from below."""
    return element("path", d=f"M0 {HIGH * (1.0 - share):.1f}H{WIDE:.0f}", cls=cls)


def nice_above(value: float) -> float:
    """The next of 1, 2, 5, 10, 20 … that is not below a positive value."""
    power = 10.0 ** np.floor(np.log10(max(value, 1e-9)))
    return float(next(n * power for n in (*_NICE, 10.0) if n * power >= value * 0.999))


def tick_s(length_s: float, most: int = 6) -> float:
    """A round distance between time marks, so that at most `most` fit."""
    return float(next((t for t in _TICKS_S if length_s / t <= most), 86400))
