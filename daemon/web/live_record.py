"""What is known of a run while its record grows: read again from where the last look ended."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Mapping
from itertools import islice
from pathlib import Path
from typing import Any

from daemon.channels import ChannelFacts
from daemon.journal.entry import Entry, Kind
from daemon.journal.read import read_entries
from daemon.preparation import channels_of
from daemon.results.phases import Phases
from daemon.results.traces import Beside, Column, Quantity, Trace
from daemon.states import State
from daemon.timetable import Timetable, forecast
from plans.errors import PlanError
from plans.loading import parse_plan
from plans.run_plan import RunPlan

SOURCE, SET_POINT = -1, -2
"""Numbers of the two traces that belong to no channel of the bridge."""

_AT_ONCE = 4000
_MOST_SAID = 400
_BAND = (0.1, 4.5)


class LiveRecord:
    """One record, as far as it has been read. `catch_up` in one thread, everything else in any."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.lock = threading.Lock()
        self.opening: Entry | None = None
        self.run: RunPlan | None = None
        self.channels: Mapping[int, ChannelFacts] = {}
        self.timetable: Timetable | None = None
        self.phases = Phases()
        self.state, self.cause = str(State.IDLE), ""
        self.closed = False
        self.acknowledged = False
        self.said: deque[Entry] = deque(maxlen=_MOST_SAID)
        self.standing: dict[tuple[str, int], Mapping[str, Any]] = {}
        self.advice: dict[str, str] = {}
        """What a halted run says of safety, by its mark: what must not be moved, what to anneal."""
        self.seq = 0
        """Number of the newest entry that was read."""
        self.newest: Entry | None = None
        self.columns: dict[int, Column] = {}
        self._beside = Beside()

    @property
    def title(self) -> str:
        """The plan's title; the file's name when its plan cannot be read."""
        return self.run.plan.header.title if self.run else self.path.stem

    @property
    def now_s(self) -> float:
        """Time of the run's newest entry, s since the record was opened, by the UTC stamps."""
        return self._since_opening_s(self.newest) if self.newest else 0.0

    def utc_s(self, when_s: float) -> float:
        """UTC of a time in this run."""
        return when_s + (self.opening.utc_s if self.opening else 0.0)

    def traces(self) -> dict[int, Trace]:
        """Every trace as it is now, by channel; the source first."""
        with self.lock:
            return {number: self.columns[number].trace() for number in sorted(self.columns)}

    def beside(self) -> dict[Quantity, Trace]:
        """What the instruments beside the heat source show, as it is now."""
        with self.lock:
            return self._beside.traces()

    def catch_up(self) -> int:
        """Read what is new, a few thousand entries at most; how many. Raises RecordError."""
        with self.lock:
            fresh = list(islice(read_entries(self.path, after=self.seq), _AT_ONCE))
            for entry in fresh:
                self._take(entry)
        return len(fresh)

    def _since_opening_s(self, entry: Entry) -> float:
        # UTC is the only time that goes on through a restart of the machine.
        return entry.utc_s - self.opening.utc_s if self.opening else 0.0

    def _take(self, entry: Entry) -> None:
        self.seq = entry.seq
        if entry.kind == Kind.REVIEW:
            return  # signed in the morning: it makes the night no longer
        if entry.kind == Kind.OPENED:
            self._open(entry)
        self.newest = entry
        when_s = self._since_opening_s(entry)
        match entry.kind:
            case Kind.OBSERVATION:
                self._observed(entry.body, when_s)
                return
            case Kind.ACTION | Kind.OPENED:
                return
            case Kind.STATE:
                self.state, self.cause = entry.body["to"], entry.body["cause"]
                self.acknowledged = False
                if self.state == State.RUNNING:
                    self.advice.clear()
                self.phases.take(entry, when_s)
            case Kind.MILESTONE:
                if "sentence" in entry.body:
                    self.advice[entry.body["mark"]] = str(entry.body["sentence"])
                self.phases.take(entry, when_s)
            case Kind.VERDICT:
                self.standing[(entry.body["guard"], entry.body["channel"])] = entry.body
                self.acknowledged = False
            case Kind.CLEARED:
                self.standing.pop((entry.body["guard"], entry.body["channel"]), None)
            case Kind.OPERATOR if entry.body["word"] == "acknowledge":
                self.acknowledged = True
            case Kind.CLOSED:
                self.closed = True
        self.said.append(entry)

    def _open(self, entry: Entry) -> None:
        self.opening = entry
        try:
            self.run = parse_plan(entry.body["plan"], entry.body["bench"], entry.body["register"])
        except PlanError:
            return  # written by another version: what can be told without the plan is still told
        self.channels = channels_of(self.run)
        self.timetable = forecast(self.run)

    def _observed(self, body: Mapping[str, Any], when_s: float) -> None:
        if body["what"] == "source":
            for number, key in ((SOURCE, "temperature_c"), (SET_POINT, "set_point_c")):
                if body[key] is not None:
                    self.columns.setdefault(number, Column()).add(when_s, body[key])
        elif body["what"] == "monitored":
            self._beside.take(body, when_s)
        elif body["what"] == "resistance" and body["value"] is not None and body["use"] != "discard":
            self._resistance(body["channel"], body["value"], when_s)

    def _resistance(self, channel: int, ohm: float, when_s: float) -> None:
        facts = self.channels.get(channel)
        # What no platinum shows is for the guards to speak of; it would only flatten the picture.
        if facts is not None and _BAND[0] <= ohm / facts.nominal_ohm <= _BAND[1]:
            self.columns.setdefault(channel, Column()).add(when_s, facts.to_celsius(ohm))
