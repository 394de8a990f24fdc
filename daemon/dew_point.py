"""How near the coldest head, or the room where no head is measured, is to the dew point of the room's air."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from daemon.observations import Monitored

# Magnus form over water, WMO-No. 8, part I, chapter 4 (from memory).
_A, _B_C = 17.62, 243.12

CLEAR_K = 2.0
"""Nearer to the dew point than this, water is taken to condense. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Clearance:
    """The coldest place that is known, its temperature and the dew point, both in °C."""

    place: str
    coldest_c: float
    dew_c: float

    @property
    def clear_k(self) -> float:
        """How far it is above the dew point, in K."""
        return self.coldest_c - self.dew_c

    def __str__(self) -> str:
        return f"{self.place} is at {self.coldest_c:.1f} °C and the room's dew point is {self.dew_c:.1f} °C"


def clearance(room: Monitored, heads: Iterable[tuple[str, float]]) -> Clearance | None:
    """From a look at the room and the heads' names and temperatures in °C; None without a hygrometer."""
    room_c, humidity = (_value(room, name) for name in ("temperature", "humidity"))
    if room_c is None or humidity is None or not humidity > 0.0:
        return None
    name, coldest_c = min(heads, key=lambda head: head[1], default=("", room_c))
    return Clearance(f"the head of {name}" if name else "the room", coldest_c, dew_point_c(room_c, humidity))


def dew_point_c(temperature_c: float, humidity_percent: float) -> float:
    """Dew point in °C of air at a temperature and a relative humidity above 0 %; Magnus form over water."""
    gamma = math.log(humidity_percent / 100.0) + _A * temperature_c / (_B_C + temperature_c)
    return _B_C * gamma / (_A - gamma)


def _value(observation: Monitored, name: str) -> float | None:
    reading = observation.readings.get(name)
    return None if reading is None else reading.value
