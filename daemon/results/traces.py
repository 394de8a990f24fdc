"""What was measured over the whole night, as columns for plotting."""

from __future__ import annotations

from array import array
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from daemon.channels import ChannelFacts
from daemon.fitting.arrays import FloatArray
from daemon.journal.entry import Entry
from daemon.results.numbers import fixed
from drivers.quantities import UNITS

_BAND = (0.1, 4.5)
_DECIMALS = {"degC": 2, "1/min": 0}
STATE = "state"
"""Stands for a unit where something is on or off."""


@dataclass(frozen=True)
class Trace:
    """One quantity in time: (n,) seconds since the record was opened, (n,) values."""

    when_s: FloatArray
    value: FloatArray

    def between(self, start_s: float, end_s: float) -> Trace:
        """The part from `start_s` to `end_s`."""
        low, high = np.searchsorted(self.when_s, (start_s, end_s))
        return Trace(self.when_s[low:high], self.value[low:high])


@dataclass
class Column:
    """A trace that grows."""

    when_s: array[float] = field(default_factory=lambda: array("d"))
    value: array[float] = field(default_factory=lambda: array("d"))

    def add(self, when_s: float, value: float) -> None:
        """Take one more value."""
        self.when_s.append(when_s)
        self.value.append(value)

    def trace(self) -> Trace:
        """As it is now; later values do not change it."""
        return Trace(np.array(self.when_s), np.array(self.value))


@dataclass(frozen=True, slots=True)
class Quantity:
    """What an instrument beside the heat source shows: in a unit, or a state that is on (1) or off (0)."""

    role: str
    name: str
    unit: str

    @property
    def is_state(self) -> bool:
        """Whether it is on or off."""
        return self.unit == STATE

    @property
    def spoken(self) -> str:
        """Its name as said aloud."""
        return self.name.replace("_", " ")

    def in_words(self, value: float) -> str:
        """A value of it with its unit, or on or off."""
        if self.is_state:
            return "on" if value else "off"
        return fixed(value, _DECIMALS.get(self.unit, 1), UNITS.get(self.unit, self.unit))


class Beside:
    """Collects what the instruments beside the heat source showed."""

    def __init__(self) -> None:
        self._columns: dict[Quantity, Column] = {}

    def take(self, body: Mapping[str, Any], when_s: float) -> None:
        """Take one look at one of them; what it could not measure is left out."""
        role = body["role"]
        for name, told in body["readings"].items():
            if told["value"] is not None:
                self._add(Quantity(role, name, told["unit"]), when_s, told["value"])
        for name, on in body["states"].items():
            self._add(Quantity(role, name, STATE), when_s, float(on))

    def _add(self, quantity: Quantity, when_s: float, value: float) -> None:
        self._columns.setdefault(quantity, Column()).add(when_s, value)

    def traces(self) -> dict[Quantity, Trace]:
        """A trace of each, in the order of the bench."""
        return {quantity: column.trace() for quantity, column in self._columns.items()}


class Traces:
    """Collects observations; only what is a reading becomes a point of a trace."""

    def __init__(self) -> None:
        self._controller, self._set_point, self._output = Column(), Column(), Column()
        self._all: dict[int, Column] = {}
        self._evaluated: dict[int, Column] = {}
        self._beside = Beside()

    def take(self, entry: Entry, when_s: float) -> None:
        """Take one observation at `when_s`, in s since the record was opened."""
        body = entry.body
        if body["what"] == "source":
            self._look(body, when_s)
        elif body["what"] == "monitored":
            self._beside.take(body, when_s)
        elif body["what"] == "resistance" and body["value"] is not None:
            self._all.setdefault(body["channel"], Column()).add(when_s, body["value"])
            if body["use"] != "discard":
                self._evaluated.setdefault(body["channel"], Column()).add(when_s, body["value"])

    def _look(self, body: Mapping[str, Any], when_s: float) -> None:
        columns = (self._controller, self._set_point, self._output)
        for column, key in zip(columns, ("temperature_c", "set_point_c", "output_percent"), strict=True):
            if body[key] is not None:
                column.add(when_s, body[key])

    @property
    def controller_c(self) -> Trace:
        """The controller's display, °C."""
        return self._controller.trace()

    @property
    def set_point_c(self) -> Trace:
        """The set-point read from the controller, °C."""
        return self._set_point.trace()

    @property
    def output_percent(self) -> Trace:
        """The heater's output read from the controller, %; empty where it tells none."""
        return self._output.trace()

    @property
    def beside(self) -> dict[Quantity, Trace]:
        """What readout, ambient monitor and interlocks showed."""
        return self._beside.traces()

    def resistance_ohm(self, channel: int) -> Trace:
        """Every reading of one channel, discarded ones included; empty for a channel never read."""
        return self._all.get(channel, Column()).trace()

    def temperatures_c(self, channels: Mapping[int, ChannelFacts], *, discarded: bool) -> dict[int, Trace]:
        """Temperature of each channel by its nominal function; resistances no platinum shows are left out."""
        columns = self._all if discarded else self._evaluated
        return {c: _celsius(columns[c].trace(), f) for c, f in channels.items() if c in columns}


def _celsius(trace: Trace, facts: ChannelFacts) -> Trace:
    low, high = (part * facts.nominal_ohm for part in _BAND)
    good = (trace.value >= low) & (trace.value <= high)
    celsius = np.array([facts.to_celsius(ohm) for ohm in trace.value[good].tolist()])
    return Trace(trace.when_s[good], celsius)


def extremes(trace: Trace, start_s: float, end_s: float, columns: int) -> Trace:
    """At most two points a column of the picture, its lowest and its highest: no spike is averaged away."""
    if len(trace.when_s) <= 2 * columns:
        return trace
    edges = np.linspace(start_s, end_s, columns + 1)
    starts = np.unique(np.searchsorted(trace.when_s, edges[:-1]))
    starts = starts[starts < len(trace.when_s)]
    kept: set[int] = {0, len(trace.when_s) - 1}
    for first, last in zip(starts, [*starts[1:], len(trace.when_s)], strict=True):
        kept |= {first + int(trace.value[first:last].argmin()), first + int(trace.value[first:last].argmax())}
    chosen = np.array(sorted(kept))
    return Trace(trace.when_s[chosen], trace.value[chosen])


def bundle(traces: list[Trace], start_s: float, end_s: float, columns: int) -> tuple[FloatArray, ...]:
    """Of all traces in each column that has readings: (m,) times, (m,) lowest, (m,) highest."""
    lowest, highest = np.full(columns, np.inf), np.full(columns, -np.inf)
    width_s = (end_s - start_s) / columns
    for trace in traces:
        column = np.clip(((trace.when_s - start_s) / width_s).astype(int), 0, columns - 1)
        np.minimum.at(lowest, column, trace.value)
        np.maximum.at(highest, column, trace.value)
    filled = np.isfinite(lowest)
    middle = start_s + width_s * (np.arange(columns) + 0.5)
    return middle[filled], lowest[filled], highest[filled]
