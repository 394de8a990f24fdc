"""Instruments that answer plain lines of text: a two-sensor readout and a monitor of the room."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from typing import Protocol

ANSWER_S = 0.02
LONGEST_LINE = 128


class TextLines:
    """The far end of a wire on which each line is one question; an unknown one is not answered.

    `prepare(now_s)` brings the physics up to the moment.
    """

    def __init__(self, end: bytes, who: str, identity: str, prepare: Callable[[float], None]) -> None:
        self._identity = identity
        self._end = end
        self._who = who
        self._prepare = prepare
        self._buffer = b""

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        """Take bytes at `now_s`; replies as (delay in s, bytes)."""
        self._prepare(now_s)
        *lines, self._buffer = (self._buffer + data).split(self._end)
        self._buffer = self._buffer[-LONGEST_LINE:]
        answers = (self._line(line.decode("ascii", "replace"), now_s) for line in lines)
        return [(ANSWER_S, answer.encode() + self._end) for answer in answers if answer]

    def _line(self, line: str, now_s: float) -> str:
        return self._identity if line == self._who else self.answer(line, now_s)

    def answer(self, line: str, now_s: float) -> str:
        """The answer to any other question, empty when there is none."""
        raise NotImplementedError


class Surroundings(Protocol):
    """What there is to be measured: the medium's and the room's temperature in °C, newest last."""

    medium_c: list[float]
    air_c: list[float]


class AsciiReadout(TextLines):
    """Two industrial sensors in the medium, good to some hundredths of a kelvin."""

    def __init__(self, source: Surroundings, prepare: Callable[[float], None], chance: random.Random) -> None:
        super().__init__(b"\r", "ID?", "EXREAD-0031", prepare)
        self._source = source
        self._chance = chance
        self._errors_k = chance.gauss(0.0, 0.03), chance.gauss(0.0, 0.03)

    def answer(self, line: str, now_s: float) -> str:
        """Both temperatures, each with the letter of its sensor."""
        if line != "T?":
            return ""
        shown = [self._source.medium_c[-1] + e + self._chance.gauss(0.0, 0.01) for e in self._errors_k]
        return f"A{shown[0]:+08.2f},B{shown[1]:+08.2f}"


class TextAmbient(TextLines):
    """Temperature, pressure and humidity of the room at a station by the sea."""

    def __init__(self, source: Surroundings, prepare: Callable[[float], None], chance: random.Random) -> None:
        super().__init__(b"\n", "*IDN?", "TERN ROCK WORKSHOP,ROOM-3,0017,1.0", prepare)
        self._source = source
        self._phase = chance.uniform(0.0, math.tau)
        self.damp_percent: float | None = None

    def answer(self, line: str, now_s: float) -> str:
        """All three in one answer; pressure and humidity swing slowly."""
        if line != "MEAS:TEMP?;:MEAS:PRES?;:MEAS:HUM?":
            return ""
        swing = math.sin(now_s / 9000.0 + self._phase)
        humidity = 52.0 - 6.0 * swing if self.damp_percent is None else self.damp_percent
        return f"{self._source.air_c[-1]:+.2f};{1013.0 + 4.0 * swing:.1f};{humidity:.1f}"
