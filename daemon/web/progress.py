"""Where a run is in its timetable, and when it will probably end."""

from __future__ import annotations

from typing import Protocol

from daemon.results.numbers import point_name
from daemon.results.phases import Phases, PointPath
from daemon.timetable import Row, Timetable
from daemon.web.live_record import LiveRecord


class Underway(Protocol):
    """A run as far as it has come; times in s since its record was opened."""

    @property
    def timetable(self) -> Timetable | None:
        """What was forecast, None when nothing was."""

    @property
    def phases(self) -> Phases:
        """What it has been doing."""

    @property
    def now_s(self) -> float:
        """How far it is."""


def delay_s(live: Underway) -> float:
    """How much later than forecast the present point was begun, and what it has overrun since."""
    row, point = present(live)
    if row is None or point is None:
        return 0.0
    late_s = point.started_s - row.from_s
    return max(late_s, live.now_s - row.to_s)


def estimated_end_s(live: LiveRecord) -> float | None:
    """Probable end in s since the run was opened; None when there is no timetable or nothing left of it."""
    if live.timetable is None or live.closed:
        return None
    return round(max(live.timetable.total_s + delay_s(live), live.now_s), 1)


def present(live: Underway) -> tuple[Row | None, PointPath | None]:
    """The row and the point that the run is at."""
    points = live.phases.points
    if not points or live.timetable is None:
        return None, None
    found = [row for row in live.timetable.rows if row.index == points[-1].index]
    return (found[0] if found else None), points[-1]


def doing(point: PointPath) -> str:
    """What a point is at."""
    if point.ended:
        return point.ended
    if point.sequence_s is not None:
        return "reading"
    if point.settled_s is not None:
        return "soaking"
    return "settling" if point.arrived_s is not None else "approaching"


def point_in_words(point: PointPath) -> str:
    """The point and what it is at: "3: 40 °C, soaking"."""
    return f"{point_name(point.index, point.temperature_c, point.label)}, {doing(point)}"
