"""The timetable with the place where the run is."""

from __future__ import annotations

from daemon.results.markup import Html, element, joined, table
from daemon.results.numbers import clock, duration, fixed
from daemon.results.phases import Span
from daemon.timetable import Row
from daemon.web.live_record import LiveRecord
from daemon.web.progress import delay_s, doing, estimated_end_s, present

_DONE, _NOW, _NEXT = "✔", "▶", "·"


def schedule(live: LiveRecord) -> Html:
    """Every step: done, now, still to come; times as forecast, later ones moved by the present delay."""
    if live.timetable is None:
        return element("p", "no timetable", cls="said")
    late_s = delay_s(live)
    rows = [_row(live, row, late_s) for row in live.timetable.rows]
    header = ("", "step", "temperature", "begins", "ends")
    return joined([table(header, rows, words=2), element("p", _lateness(late_s), cls="said")])


def ending(live: LiveRecord) -> str:
    """When it will probably end, in one sentence."""
    end_s = estimated_end_s(live)
    if end_s is None:
        return f"ended after {duration(live.now_s)}" if live.closed else "no estimate"
    left = duration(max(0.0, end_s - live.now_s))
    return f"ends at about {clock(live.utc_s(end_s))} UTC, in {left}"


def _row(live: LiveRecord, row: Row, late_s: float) -> tuple[str, ...]:
    current, _ = present(live)
    started = {point.index: point for point in live.phases.points}
    point = started.get(row.index)
    if point is not None:
        begins_s = point.started_s
        ends_s = live.now_s if live.closed else row.to_s + late_s
        ends_s = point.ended_s if point.ended_s is not None else ends_s
        sign = _DONE if point.ended else _NOW if row is current and not live.closed else "○"
        name = f"{row.label}, {doing(point)}"
    elif row.label == "parking" and (parking := _parking(live)):
        begins_s, ends_s, sign, name = parking.start_s, parking.end_s, _DONE, row.label
    elif live.closed:
        return "", f"{row.label}, not reached", fixed(row.temperature_c, 1, "°C"), "–", "–"
    else:
        begins_s, ends_s, sign, name = row.from_s + late_s, row.to_s + late_s, _NEXT, row.label
    times = (clock(live.utc_s(begins_s)), clock(live.utc_s(ends_s)))
    return sign, name, fixed(row.temperature_c, 1, "°C"), *times


def _parking(live: LiveRecord) -> Span | None:
    return next((span for span in live.phases.done if span.name == "parking"), None)


def _lateness(late_s: float) -> str:
    if abs(late_s) < 60.0:
        return "As forecast. Times are UTC."
    return f"{duration(abs(late_s))} {'later' if late_s > 0 else 'earlier'} than forecast. Times are UTC."
