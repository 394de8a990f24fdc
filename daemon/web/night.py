"""The whole night in °C with what was done when, and the links by which one looks closer."""

from __future__ import annotations

import math
from urllib.parse import urlencode

import numpy as np

from daemon.results.markup import Html, element, joined
from daemon.results.numbers import clock, duration, true_minus
from daemon.results.traces import Trace
from daemon.web.chart import Scale, Window, band, curve, line, nice_above, picture, rule, steps, tick_s
from daemon.web.live_record import SET_POINT, SOURCE, LiveRecord

COLUMNS = 700
SHORTEST_S = 60.0
_BANDS = {"soak": "soak", "readings": "reading", "parking": "parking"}
_CLOSER = (("whole night", None), ("4 h", 14400.0), ("1 h", 3600.0), ("10 min", 600.0))
_LINES_C = 4
_KEY = element(
    "p",
    "Dotted: set-point. Dashed: the source's display. Full line: reference.",
    element("span", cls="key soak"),
    "soak",
    element("span", cls="key reading"),
    "reading",
    element("span", cls="key parking"),
    "parking",
    cls="said",
)


def chosen(live: LiveRecord, from_min: float | None, to_min: float | None) -> Window:
    """The window asked for, its edges on round marks; the whole night when nothing sensible is asked."""
    whole_s = max(live.now_s, live.timetable.total_s if live.timetable and not live.closed else 0.0, 600.0)
    start_s, end_s = 60.0 * (from_min or 0.0), 60.0 * to_min if to_min is not None else whole_s
    if not (start_s >= 0.0 and start_s + SHORTEST_S <= end_s <= 400.0 * 3600.0):
        start_s, end_s = 0.0, whole_s
    return _on_marks(start_s, end_s)


def _on_marks(start_s: float, end_s: float) -> Window:
    """Widened until both edges lie on time marks; widening can make the marks themselves wider apart."""
    step_s = 0.0
    while step_s != tick_s(end_s - start_s):
        step_s = tick_s(end_s - start_s)
        start_s, end_s = math.floor(start_s / step_s) * step_s, math.ceil(end_s / step_s) * step_s
    return Window(start_s, end_s, COLUMNS)


def night(live: LiveRecord, traces: dict[int, Trace], window: Window) -> Html:
    """Set-point, source and reference in °C, with bands for soak, readings and parking."""
    low_c, high_c = _range_c(traces, window)
    scale = Scale(low_c, high_c)
    reference = next((n for n, facts in live.channels.items() if facts.role == "reference"), 0)
    bands = [
        band(window, span.start_s, span.end_s, f"band {_BANDS[span.name]}", span.name)
        for span in live.phases.done
        if span.name in _BANDS
    ]
    lines = [rule(share / _LINES_C) for share in range(_LINES_C + 1)]
    empty = Trace(np.empty(0), np.empty(0))
    drawn = [
        line(steps(traces.get(SET_POINT, empty), window, scale), "set-point"),
        line(curve(traces.get(SOURCE, empty), window, scale), "source"),
        line(curve(traces.get(reference, empty), window, scale), "trace"),
    ]
    box = picture("the night in °C: set-point, source and reference", *bands, *lines, *drawn)
    whole = element("div", _degrees(low_c, high_c), box, cls="night")
    return joined([whole, marks(live, window), _KEY])


def marks(live: LiveRecord, window: Window) -> Html:
    """Times of day under a picture, evenly spaced on round marks."""
    step_s = tick_s(window.length_s)
    count = round(window.length_s / step_s)
    times = [clock(live.utc_s(window.start_s + n * step_s)) for n in range(count + 1)]
    return element("div", joined(element("span", one) for one in times), cls="marks")


def closer(live: LiveRecord, window: Window) -> Html:
    """Links: spans, sideways, nearer, further; each with a key."""
    end_s = min(window.end_s, live.now_s) if live.now_s > window.start_s else window.end_s
    middle_s, half_s = (window.start_s + window.end_s) / 2.0, window.length_s / 2.0
    spans = [_link(name, None if s is None else (end_s - s, end_s), "") for name, s in _CLOSER]
    spans[0] = _link("whole night", None, "0")
    moves = [
        _link("◀ earlier", (window.start_s - half_s, window.end_s - half_s), "ArrowLeft"),
        _link("later ▶", (window.start_s + half_s, window.end_s + half_s), "ArrowRight"),
        _link("+ nearer", (middle_s - half_s / 2, middle_s + half_s / 2), "+"),
        _link("− further", (middle_s - 2 * half_s, middle_s + 2 * half_s), "-"),
    ]
    shown = element("span", f"shown: {duration(window.length_s)}", cls="said")
    return element(
        "nav", joined([*spans, *moves, shown]), cls="closer", **{"aria-label": "part of the night"}
    )


def _link(words: str, span_s: tuple[float, float] | None, key: str) -> Html:
    query = ""
    if span_s is not None:
        start_s = max(0.0, span_s[0])
        query = urlencode({"from": f"{start_s / 60:.2f}", "to": f"{max(span_s[1], start_s + 120) / 60:.2f}"})
    keys = {"data-key": key} if key else {}
    return element("a", words, href=f"?{query}#night", **keys)


def _range_c(traces: dict[int, Trace], window: Window) -> tuple[float, float]:
    """Round edges that hold everything drawn."""
    seen = [window.of(t).value for t in traces.values() if len(window.of(t).value)]
    low_c = min((float(v.min()) for v in seen), default=0.0)
    high_c = max((float(v.max()) for v in seen), default=100.0)
    step_c = nice_above(max(high_c - low_c, 0.02) / (_LINES_C - 1))
    low_c = math.floor(low_c / step_c) * step_c
    while low_c + _LINES_C * step_c < high_c:
        step_c = nice_above(step_c * 1.01)
        low_c = math.floor(low_c / step_c) * step_c
    return low_c, low_c + _LINES_C * step_c


def _degrees(low_c: float, high_c: float) -> Html:
    step_c = (high_c - low_c) / _LINES_C
    decimals = max(0, -math.floor(math.log10(step_c)))
    labels = [true_minus(f"{low_c + n * step_c:.{decimals}f}") for n in range(_LINES_C, -1, -1)]
    labels[0] += " °C"
    return element("div", joined(element("span", one) for one in labels), cls="degrees")
