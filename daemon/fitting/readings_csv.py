"""A plain CSV of hand-collected readings, read strictly: every complaint names row and column.

Columns: `resistance_ohm` and one of `temperature_c` (t90 of the reference) or `reference_ohm` (resistance
of a reference thermometer whose certificate is at hand); optional `label` (readings of one point share it)
and `current_ma`. Lines beginning with # are remarks. Points, not commas, in numbers.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from daemon.fitting import its90
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.errors import BadReadings, OutsideRange

_TEMPERATURE, _REFERENCE, _ITEM, _CURRENT, _LABEL = (
    "temperature_c",
    "reference_ohm",
    "resistance_ohm",
    "current_ma",
    "label",
)
_LIMITS: Mapping[str, tuple[float, float]] = {
    _TEMPERATURE: (its90.LOWEST_C, its90.HIGHEST_C),
    _REFERENCE: (0.001, 100_000.0),
    _ITEM: (0.001, 100_000.0),
    _CURRENT: (0.001, 100.0),
}
_MOST_ROWS = 1_000_000


@dataclass(frozen=True)
class HandReading:
    """One row: t90 of the reference in °C, item in ohm, current in mA (or None), point's label."""

    row: int
    label: str
    temperature_c: float
    resistance_ohm: float
    current_ma: float | None


def parse_readings(text: str, reference: Characteristic | None = None) -> tuple[HandReading, ...]:
    """The readings of a file's text; `reference` turns `reference_ohm` into t90. Raises BadReadings."""
    lines = [(n, line) for n, line in enumerate(text.lstrip("﻿").splitlines(), 1) if _counts(line)]
    if len(lines) < 2:
        raise BadReadings("the file holds no readings: a header line and at least one row are needed")
    columns = _header(lines[0], reference)
    if len(lines) > _MOST_ROWS:
        raise BadReadings(f"more than {_MOST_ROWS} rows: this is not a file of hand-collected readings")
    return tuple(_reading(number, cells, columns, reference) for number, cells in _cells(lines[1:]))


def _counts(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _cells(lines: Iterable[tuple[int, str]]) -> Iterable[tuple[int, list[str]]]:
    for number, line in lines:
        try:
            yield number, [cell.strip() for cell in next(csv.reader([line], strict=True))]
        except csv.Error as problem:
            raise BadReadings(f"row {number}: not a line of comma-separated values ({problem})") from None


def _header(line: tuple[int, str], reference: Characteristic | None) -> list[str]:
    _, columns = next(iter(_cells([line])))
    known = (_TEMPERATURE, _REFERENCE, _ITEM, _CURRENT, _LABEL)
    for name in columns:
        if name not in known:
            raise BadReadings(f"row {line[0]}: unknown column {name!r}; known: {', '.join(known)}")
        if columns.count(name) > 1:
            raise BadReadings(f"row {line[0]}: column {name} stands twice")
    if _ITEM not in columns:
        raise BadReadings(f"row {line[0]}: column {_ITEM} is missing")
    if (_TEMPERATURE in columns) == (_REFERENCE in columns):
        raise BadReadings(f"row {line[0]}: exactly one of {_TEMPERATURE} and {_REFERENCE} is needed")
    if _REFERENCE in columns and reference is None:
        raise BadReadings(
            f"column {_REFERENCE} needs the reference thermometer's certificate to become degrees"
        )
    return columns


def _reading(
    number: int, cells: Sequence[str], columns: Sequence[str], reference: Characteristic | None
) -> HandReading:
    if len(cells) != len(columns):
        raise BadReadings(f"row {number}: {len(cells)} cells, but the header names {len(columns)} columns")
    given = dict(zip(columns, cells, strict=True))
    values = {name: _number(number, name, given[name]) for name in columns if name in _LIMITS}
    if reference is not None and _REFERENCE in values:
        temperature = _converted(number, values[_REFERENCE], reference)
    else:
        temperature = values[_TEMPERATURE]
    label = given.get(_LABEL, f"row {number}")
    if not label:
        raise BadReadings(f"row {number}, column {_LABEL}: empty; name the point this reading belongs to")
    return HandReading(number, label, temperature, values[_ITEM], values.get(_CURRENT))


def _number(row: int, column: str, cell: str) -> float:
    low, high = _LIMITS[column]
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not (low <= value <= high) or "_" in cell:
        raise BadReadings(f"row {row}, column {column}: {cell!r} is not a number from {low:g} to {high:g}")
    return value


def _converted(row: int, ohms: float, reference: Characteristic) -> float:
    try:
        return reference.temperature_c(ohms)
    except OutsideRange as problem:
        raise BadReadings(f"row {row}, column {_REFERENCE}: {problem}") from None
