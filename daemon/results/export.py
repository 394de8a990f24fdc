"""A record's data as tables for other programs, each column with its unit and its meaning."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib import import_module
from itertools import islice
from pathlib import Path
from typing import IO, Any, Literal

from daemon.fitting.errors import FittingError
from daemon.journal.entry import Entry, Kind
from daemon.journal.read import read_entries
from daemon.program import to_install

Row = tuple[Any, ...]
_BATCH = 20_000


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name (with the unit in it), what kind of value, and what it means."""

    name: str
    kind: Literal["int", "float", "text"]
    meaning: str


READINGS = (
    Column("seq", "int", "number of the entry in the record"),
    Column("utc", "text", "when the entry was written, UTC"),
    Column("when_s", "float", "when the reading was taken, s, monotonic clock"),
    Column("channel", "int", "channel of the bridge"),
    Column("current_ma", "float", "measuring current, mA"),
    Column("use", "text", "scan (watching), sequence (evaluated) or discard (after a switch)"),
    Column("resistance_ohm", "float", "resistance, Ω; empty when the instrument gave none"),
    Column("quality", "text", "fresh, or why the value is not to be trusted"),
    Column("reason", "text", "the instrument's or the driver's words where there is no value"),
    Column("raw", "text", "the instrument's answer as it came"),
)
ENTRIES = (
    Column("seq", "int", "number of the entry, from 1"),
    Column("utc", "text", "when it was written, UTC"),
    Column("when_s", "float", "the same on the monotonic clock, s"),
    Column("kind", "text", "opened, state, action, observation, verdict, milestone, review, closed …"),
    Column("body", "text", "the entry itself as JSON"),
)
POINTS = (
    Column("serial", "text", "thermometer"),
    Column("role", "text", "item or check_standard"),
    Column("point", "int", "number of the point, from 1, in the order measured"),
    Column("label", "text", "name of the point in the plan"),
    Column("stage", "text", "zero_before, point or zero_after"),
    Column("approach", "text", "start, from_below, from_above or same"),
    Column("set_temperature_c", "float", "set-point, °C"),
    Column("mid_time_utc", "text", "middle of the item's readings, UTC"),
    Column("t90_c", "float", "t90 by the reference at that time, °C"),
    Column("resistance_ohm", "float", "mean resistance, Ω"),
    Column("current_ma", "float", "measuring current, mA"),
    Column("sensitivity_ohm_per_k", "float", "nominal dR/dt, Ω/K"),
    Column("cycles", "int", "symmetrical cycles evaluated"),
    Column("readings", "int", "readings evaluated"),
    Column("cycle_spread_mk", "float", "standard deviation between cycles, drift taken out, mK"),
    Column("reading_spread_mk", "float", "standard deviation of single readings within a visit, mK"),
    Column("source_drift_mk", "float", "change of the source over the cycles, mK"),
    Column("residual_mk", "float", "temperature by the characteristic minus reference, mK"),
    Column("expanded_uncertainty_mk", "float", "U of the point, 95 %, mK"),
    Column("excluded_because", "text", "why the point is not in the fit; empty when it is"),
)
MONITORED = (
    Column("seq", "int", "number of the entry in the record"),
    Column("utc", "text", "when the entry was written, UTC"),
    Column("when_s", "float", "when the instrument was looked at, s, monotonic clock"),
    Column("role", "text", "readout, ambient or interlocks"),
    Column("name", "text", "what it is, by the name in the instrument's profile"),
    Column("value", "float", "the number, in the unit beside it; empty for a state and where there is none"),
    Column("unit", "text", "degC, hPa, percent, 1/min, mm; empty for a state"),
    Column("state", "text", "on or off; empty for a number"),
    Column("quality", "text", "fresh, or why the value is not to be trusted"),
    Column("reason", "text", "the instrument's or the driver's words where there is no value"),
    Column("raw", "text", "the instrument's answer as it came; empty for a state"),
)
COLUMNS: dict[str, tuple[Column, ...]] = {
    "readings": READINGS,
    "monitored": MONITORED,
    "entries": ENTRIES,
    "points": POINTS,
}


def rows(record: Path, what: str) -> Iterator[Row]:
    """The rows of a table; raises RecordError, for points also PlanError and FittingError."""
    makers = {"readings": _readings, "monitored": _monitored, "entries": _entries, "points": _points}
    return makers[what](record)


def write_csv(file: IO[str], what: str, table: Iterable[Row]) -> None:
    """Comma-separated, names in the first line."""
    writer = csv.writer(file)
    writer.writerow(column.name for column in COLUMNS[what])
    writer.writerows(table)


def write_json_lines(file: IO[str], what: str, table: Iterable[Row]) -> None:
    """One JSON object a line."""
    names = [column.name for column in COLUMNS[what]]
    for row in table:
        file.write(json.dumps(dict(zip(names, row, strict=True)), ensure_ascii=False, allow_nan=False) + "\n")


def write_parquet(path: Path, what: str, table: Iterable[Row]) -> None:
    """A Parquet file whose schema carries the data dictionary; raises OSError, FittingError (no pyarrow)."""
    try:
        pyarrow, parquet = import_module("pyarrow"), import_module("pyarrow.parquet")
    except ImportError:
        raise FittingError(f"Parquet needs pyarrow: {to_install('parquet')}") from None
    types = {"int": pyarrow.int64(), "float": pyarrow.float64(), "text": pyarrow.string()}
    fields = [pyarrow.field(c.name, types[c.kind], metadata={"meaning": c.meaning}) for c in COLUMNS[what]]
    schema, left = pyarrow.schema(fields), iter(table)
    with path.open("xb") as file, parquet.ParquetWriter(file, schema, compression="zstd") as writer:
        while batch := list(islice(left, _BATCH)):
            columns = [list(column) for column in zip(*batch, strict=True)]
            writer.write_table(pyarrow.table(columns, schema=schema))


def dictionary(what: str) -> list[dict[str, str]]:
    """The data dictionary of a table."""
    return [{"column": c.name, "type": c.kind, "meaning": c.meaning} for c in COLUMNS[what]]


def _entries(record: Path) -> Iterator[Row]:
    for entry in read_entries(record):
        yield entry.seq, _utc(entry), entry.when_s, entry.kind, json.dumps(entry.body, ensure_ascii=False)


def _readings(record: Path) -> Iterator[Row]:
    for entry in read_entries(record, frozenset({Kind.OBSERVATION})):
        body = entry.body
        if body["what"] == "resistance":
            yield (
                entry.seq,
                _utc(entry),
                body["taken"],
                body["channel"],
                body["current_ma"],
                body["use"],
                body["value"],
                body.get("quality", "fresh"),
                body.get("reason", ""),
                body["raw"],
            )


def _monitored(record: Path) -> Iterator[Row]:
    for entry in read_entries(record, frozenset({Kind.OBSERVATION})):
        body = entry.body
        if body["what"] == "monitored":
            seen = entry.seq, _utc(entry), body["at"], body["role"]
            for name, told in body["readings"].items():
                quality, reason = told.get("quality", "fresh"), told.get("reason", "")
                yield (*seen, name, told["value"], told["unit"], "", quality, reason, told["raw"])
            for name, on in body["states"].items():
                yield (*seen, name, None, "", "on" if on else "off", "fresh", "", "")


def _points(record: Path) -> Iterator[Row]:
    from daemon.results.calibrate import calibrate
    from daemon.results.readings import readings_csv
    from daemon.results.story import tell

    text = readings_csv(calibrate(record), tell(record))
    for row in csv.DictReader(io.StringIO(text)):
        yield tuple(_value(row[column.name], column.kind) for column in POINTS)


def _value(text: str, kind: str) -> Any:
    if kind == "text":
        return text
    if not text:
        return None
    return int(text) if kind == "int" else float(text)


def _utc(entry: Entry) -> str:
    return entry.utc.isoformat(timespec="milliseconds").replace("+00:00", "Z")
