"""The strip chart: a lane a thermometer, all lanes of a group on one scale; nothing needs a colour."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from daemon.results.markup import Html, element, joined
from daemon.results.numbers import fixed, signed
from daemon.results.traces import Quantity, Trace
from daemon.web.chart import Scale, Window, curve, line, nice_above, picture, rule, steps
from daemon.web.live_record import SET_POINT, SOURCE, LiveRecord

_NEAR_POINT_K = 1.0
_SMALLEST_SPAN_MK = 2.0
_ROOM = 1.15
_EDGE = 0.1


@dataclass(frozen=True)
class Lane:
    """A trace in mK around its zero; `now` is the newest value in words, `zero` the middle line's meaning."""

    name: str
    role: str
    trace: Trace
    now: str
    zero: str


def lanes(live: LiveRecord, traces: dict[int, Trace], window: Window) -> Html:
    """What sets the temperature, every thermometer against the reference, and what stands beside."""
    reference = _reference(live)
    heads = {number for number, facts in live.channels.items() if facts.role == "head"}
    items = [n for n in traces if n not in (SOURCE, SET_POINT, reference) and n not in heads]
    level = [_level_lane(live, n, traces[n], window) for n in (SOURCE, reference) if n in traces]
    against = [_against(live, n, traces[n], traces[reference], window) for n in items if reference in traces]
    groups = [_group("Source and reference around the point", level, window)]
    groups.append(_group("Each thermometer less the reference", against, window))
    return joined([*groups, _beside(live.beside(), window)])


def _beside(shown: Mapping[Quantity, Trace], window: Window) -> Html:
    """What readout, ambient monitor and interlocks show, each on its own scale; nothing without them."""
    if not shown:
        return Html("")
    said = "Beside the heat source. Each lane: from the lowest to the highest it shows here."
    rows = joined(_quantity(quantity, window.of(trace), window) for quantity, trace in shown.items())
    return element("div", element("p", said, cls="said"), rows, cls="lanes")


def _quantity(quantity: Quantity, trace: Trace, window: Window) -> Html:
    now = span = "no reading"
    drawn = Html("")
    if len(trace.value):
        low, high = (0.0, 1.0) if quantity.is_state else (float(trace.value.min()), float(trace.value.max()))
        room = _EDGE * (high - low) or 1.0
        path = (steps if quantity.is_state else curve)(trace, window, Scale(low - room, high + room))
        drawn = line(path, "trace")
        now, span = quantity.in_words(float(trace.value[-1])), _from_to(quantity, low, high)
    box = picture(f"{quantity.role} {quantity.spoken}, now {now}, {span}", drawn, cls="plot lane")
    return _labelled(quantity.spoken, quantity.role, box, now, span)


def _from_to(quantity: Quantity, low: float, high: float) -> str:
    return "off or on" if quantity.is_state else f"{quantity.in_words(low)} to {quantity.in_words(high)}"


def _reference(live: LiveRecord) -> int:
    return next((number for number, facts in live.channels.items() if facts.role == "reference"), 0)


def _level_lane(live: LiveRecord, number: int, trace: Trace, window: Window) -> Lane:
    inside = window.of(trace)
    facts = live.channels.get(number)
    name, role, decimals = (facts.name, "reference", 3) if facts else ("display", "source", 2)
    if not len(inside.value):
        return Lane(name, role, inside, "no reading", "")
    middle_c = float(np.median(inside.value))
    deviation = Trace(inside.when_s, 1e3 * (inside.value - middle_c))
    return Lane(name, role, deviation, fixed(float(inside.value[-1]), decimals, "°C"), _level(live, middle_c))


def _level(live: LiveRecord, middle_c: float) -> str:
    """The middle as its distance from the point, where the trace is near it."""
    points = live.phases.points
    if points and abs(points[-1].temperature_c - middle_c) <= _NEAR_POINT_K:
        point_c = points[-1].temperature_c
        return f"{signed(1e3 * (middle_c - point_c), 0, 'mK')} from {fixed(point_c, 0, '°C')}"
    return fixed(middle_c, 2, "°C")


def _against(live: LiveRecord, number: int, trace: Trace, reference: Trace, window: Window) -> Lane:
    facts, inside = live.channels[number], window.of(trace)
    if not len(inside.value):
        return Lane(facts.name, facts.role.replace("_", " "), inside, "no reading", "")
    difference_mk = 1e3 * (inside.value - np.interp(inside.when_s, reference.when_s, reference.value))
    middle_mk = float(np.median(difference_mk))
    deviation = Trace(inside.when_s, difference_mk - middle_mk)
    now = signed(float(difference_mk[-1]), 1, "mK")
    return Lane(facts.name, facts.role.replace("_", " "), deviation, now, signed(middle_mk, 1, "mK"))


def _group(title: str, group: list[Lane], window: Window) -> Html:
    span_mk = _span_mk(group)
    scale = Scale(-span_mk, span_mk)
    said = f"{title}. Each lane: ±{_span(span_mk)} around its middle line."
    rows = joined(_row(lane, window, scale, span_mk) for lane in group)
    return element("div", element("p", said, cls="said"), rows, cls="lanes")


def _row(lane: Lane, window: Window, scale: Scale, span_mk: float) -> Html:
    described = f"{lane.name}, now {lane.now}, ±{_span(span_mk)} around {lane.zero}"
    box = picture(described, rule(0.5), line(curve(lane.trace, window, scale), "trace"), cls="plot lane")
    return _labelled(lane.name, lane.role, box, lane.now, f"middle {lane.zero}")


def _labelled(name: str, role: str, box: Html, now: str, beneath: str) -> Html:
    label = element("span", element("b", name), " ", element("small", role), cls="name")
    value = element("span", element("b", now), " ", element("small", beneath), cls="now")
    return element("div", label, box, value, cls="row")


def _span_mk(group: Iterable[Lane]) -> float:
    """Half the height of a lane, a round number that the widest lane fits into."""
    largest = [float(np.abs(lane.trace.value).max()) for lane in group if len(lane.trace.value)]
    return nice_above(max([_SMALLEST_SPAN_MK, *(one * _ROOM for one in largest)]))


def _span(span_mk: float) -> str:
    return f"{span_mk:g} mK" if span_mk < 1000.0 else f"{span_mk / 1000.0:g} K"
