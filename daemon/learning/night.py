"""One recorded night as the learner sees it: columns, points at rest, and the orders that were given."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from daemon.actions import SwitchCooling, SwitchHeater, WriteRamp, WriteSetPoint
from daemon.certified import certified
from daemon.feed import command_of
from daemon.fitting.arrays import FloatArray
from daemon.journal.entry import Entry, Kind
from daemon.preparation import channels_of
from daemon.results.phases import PointPath
from daemon.results.story import Story, tell
from daemon.results.traces import Trace
from plans.loading import parse_plan
from plans.run_plan import RunPlan

Order = tuple[float, str, float]

_REST_BEFORE_S = 300.0
"""So long before its readings a point is at rest too."""
_FEWEST_LOOKS = 10


@dataclass(frozen=True)
class Rest:
    """A point at rest: means over its soak's end and its readings, in °C; scatter of the display in K."""

    display_c: float
    reference_c: float
    scatter_k: float
    channels_c: dict[int, float]


@dataclass(frozen=True)
class Night:
    """All that is learned from; times in s since the record was opened."""

    record: Path
    run: RunPlan
    story: Story
    display_c: Trace
    output_percent: Trace
    temperatures_c: dict[int, Trace]
    orders: tuple[Order, ...]

    def rest(self, point: PointPath) -> Rest | None:
        """Means at a finished point; None when it was never read."""
        if point.sequence_s is None or point.ended_s is None:
            return None
        span = (point.sequence_s - _REST_BEFORE_S, point.ended_s)
        display = self.display_c.between(*span)
        means = {
            channel: float(seen.value.mean())
            for channel, trace in self.temperatures_c.items()
            if len((seen := trace.between(*span)).value)
        }
        ohms = self.story.traces.resistance_ohm(self.run.plan.reference.channel).between(*span).value
        if len(display.value) < _FEWEST_LOOKS or not len(ohms):
            return None
        t90 = certified(self.run.reference.calibration).temperature_c(float(ohms.mean()))
        return Rest(float(display.value.mean()), t90, _scatter(display), means)


def read_night(record: Path) -> Night:
    """Read a whole record, once; raises RecordError, PlanError, FittingError."""
    actions: list[Entry] = []
    story = tell(record, lambda entry: actions.append(entry) if entry.kind == Kind.ACTION else None)
    opened_s, body = story.opening.utc_s, story.opening.body
    run = parse_plan(body["plan"], body["bench"], body["register"])
    return Night(
        record,
        run,
        story,
        story.traces.controller_c,
        story.traces.output_percent,
        story.traces.temperatures_c(channels_of(run), discarded=True),
        tuple(order for entry in actions if (order := _order(entry, opened_s)) is not None),
    )


def _order(entry: Entry, opened_s: float) -> Order | None:
    when_s = entry.utc_s - opened_s
    match command_of(entry.body):
        case WriteSetPoint(temperature_c):
            return when_s, "set_point", temperature_c
        case WriteRamp(rate):
            return when_s, "ramp", rate
        case SwitchHeater(on):
            return when_s, "heater", float(on)
        case SwitchCooling(on):
            return when_s, "cooling", float(on)
    return None


def _scatter(trace: Trace) -> float:
    """Standard deviation about its straight line, in K."""
    line = np.polynomial.Polynomial.fit(trace.when_s, trace.value, 1)
    residual: FloatArray = trace.value - line(trace.when_s)
    return float(residual.std(ddof=2))
