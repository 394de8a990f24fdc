"""From a record to what was measured at each point: the evaluated readings, none deleted, none added."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from daemon.journal.entry import Entry, Kind
from daemon.journal.read import read_entries
from daemon.results.pairs import Pairs, SequenceReading
from daemon.states import State

_SELF_HEATING, _IMMERSION = "self_heating_", "immersion_"
_EVALUATED = ("sequence", _SELF_HEATING, _IMMERSION)
_KINDS = frozenset({Kind.OBSERVATION, Kind.ACTION, Kind.MILESTONE, Kind.INTERRUPTION})


@dataclass
class MeasuredPoint:
    """One finished point: readings by channel, and the evidence that the source was at rest.

    `by_current`: the readings for the self-heating, by the items' current in mA, then by channel.
    `by_depth`: those of an immersion profile, by place in its order and withdrawal in mm, then by channel.
    `pairs` join readings of both ways of the current, where it was reversed.
    """

    index: int
    stage: str
    label: str
    temperature_c: float
    started_s: float
    current_ma: float = 0.0
    finished_s: float = 0.0
    settled: bool = True
    soaked_again: int = 0
    evidence: dict[str, Any] = field(default_factory=dict)
    readings: dict[int, list[SequenceReading]] = field(default_factory=dict)
    by_current: dict[float, dict[int, list[SequenceReading]]] = field(default_factory=dict)
    by_depth: dict[tuple[int, float], dict[int, list[SequenceReading]]] = field(default_factory=dict)
    pairs: Pairs | None = None

    def start_over(self) -> None:
        """An interruption: what was read before it is not evaluated."""
        self.readings.clear()
        self.by_current.clear()
        self.by_depth.clear()
        self.pairs = None
        self.evidence = {}
        self.soaked_again += 1


def measured_points(record: Path) -> list[MeasuredPoint]:
    """All finished points of a record in their order; raises RecordError."""
    return gather(read_entries(record, _KINDS))


def gather(entries: Iterable[Entry]) -> list[MeasuredPoint]:
    """The finished points among these entries."""
    finished: list[MeasuredPoint] = []
    point: MeasuredPoint | None = None
    asked: dict[int, dict[str, Any]] = {}
    for entry in entries:
        body = entry.body
        if entry.kind == Kind.MILESTONE and body["by"] == State.RUNNING:
            point = _milestone(entry, point, finished)
        elif entry.kind == Kind.INTERRUPTION and point is not None:
            point.start_over()
        elif entry.kind == Kind.ACTION and body.get("use", "").startswith(_EVALUATED):
            asked = {entry.seq: dict(body)}
        elif entry.kind == Kind.OBSERVATION and body["of"] in asked and point is not None:
            _take(point, asked[body["of"]], body)
    return finished


def _milestone(
    entry: Entry, point: MeasuredPoint | None, finished: list[MeasuredPoint]
) -> MeasuredPoint | None:
    body = entry.body
    match body["mark"]:
        case "point_started" if point is None or point.index != body["index"]:
            return MeasuredPoint(
                body["index"], body["stage"], body["label"], body["temperature_c"], entry.when_s
            )
        case "soaked" | "longest_wait_over" if point is not None:
            point.evidence = {"demanded": body["demanded"], "reached": body["reached"]}
        case "sequence_started" if point is not None and body.get("reversed"):
            point.pairs = Pairs()
        case "point_finished" if point is not None:
            point.finished_s, point.settled = entry.when_s, body["settled"]
            finished.append(point)
            return None
        case "point_skipped":
            return None
    return point


def _take(point: MeasuredPoint, action: dict[str, Any], body: Any) -> None:
    if body["what"] != "resistance" or body["value"] is None:
        return
    use, channel, current_ma = action["use"], action["channel"], action["current_ma"]
    reading = SequenceReading(body["taken"], body["value"], action["cycle"], action["visit"])
    if point.pairs is not None:
        joined = point.pairs.join(use, channel, current_ma, reading)
        if joined is None:
            return
        reading = joined
    if use == "sequence":
        point.current_ma = abs(current_ma)
    _place(point, use).setdefault(channel, []).append(reading)


def _place(point: MeasuredPoint, use: str) -> dict[int, list[SequenceReading]]:
    """Where readings of this use are kept."""
    if use == "sequence":
        return point.readings
    if use.startswith(_IMMERSION):
        place, withdrawn_mm = use.removeprefix(_IMMERSION).removesuffix("_mm").split("_")
        return point.by_depth.setdefault((int(place), float(withdrawn_mm)), {})
    own_ma = float(use.removeprefix(_SELF_HEATING).removesuffix("_ma"))
    return point.by_current.setdefault(own_ma, {})
