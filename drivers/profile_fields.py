"""What one field of a reply means: a number with unit, scale, range and sentinels, or a flag."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from drivers.errors import GarbledReply
from drivers.profile_table import Table
from drivers.quantities import UNITS


class Sample(NamedTuple):
    """A number as it came: `value` is None when the instrument has none, `reason` then says why."""

    value: float | None
    raw: str
    reason: str = ""


Value = Sample | bool
Values = dict[str, Value]


@dataclass(frozen=True, slots=True)
class NumberField:
    """value = number on the wire x scale + offset, in `unit`."""

    unit: str
    scale: float
    offset: float
    span: tuple[float, float] | None
    sentinel: Mapping[float, str]

    def sample(self, number: float, raw: str) -> Sample:
        """Judge a number from the wire; raises GarbledReply for one that is not finite."""
        if number in self.sentinel:
            return Sample(None, raw, self.sentinel[number])
        value = number * self.scale + self.offset
        if not math.isfinite(value):
            raise GarbledReply(f"{raw!r} is not a number")
        if self.span is not None and not self.span[0] <= value <= self.span[1]:
            (low, high), shown = self.span, UNITS[self.unit]
            return Sample(None, raw, f"{value:g} {shown} is outside {low:g} to {high:g} {shown}")
        return Sample(value, raw)

    def from_text(self, text: bytes) -> Sample:
        """Judge a number written in ASCII."""
        raw = text.decode("ascii")
        try:
            number = float(raw)
        except ValueError as error:
            raise GarbledReply(f"{raw!r} is not a number") from error
        return self.sample(number, raw)


@dataclass(frozen=True, slots=True)
class TextFlag:
    """Two texts that mean on and off."""

    meanings: Mapping[bytes, bool]

    def from_text(self, text: bytes) -> bool:
        """True for on; raises GarbledReply for anything else than the two."""
        try:
            return self.meanings[text]
        except KeyError:
            raise GarbledReply(f"{text!r} is neither on nor off") from None


def read_unit(table: Table) -> str:
    """The key `unit`, empty for a bare number."""
    return table.choice("unit", UNITS, "")


def read_number_field(table: Table) -> NumberField:
    """Keys unit, scale, offset, range, sentinel."""
    scale = table.number("scale", -1e12, 1e12, 1.0)
    if scale == 0.0:
        raise table.fault("scale", "must not be zero")
    return NumberField(
        read_unit(table),
        scale,
        table.number("offset", -1e12, 1e12, 0.0),
        table.span("range"),
        _read_sentinel(table.table("sentinel", {})),
    )


def _read_sentinel(table: Table) -> dict[float, str]:
    meanings = {}
    for key in table.names():
        try:
            meanings[float(key)] = table.text(key)
        except ValueError as error:
            raise table.fault(key, "a sentinel is a number in quotes") from error
    return meanings
