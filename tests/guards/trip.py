"""A guard's number as a pair of worlds, and the small functions of time they are made of."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from daemon.guards.verdict import Reaction
from daemon.observations import Machine, Monitored
from drivers.quantities import Reading
from tests.guards.watched import OfTime, World, absent_reading

OLD_S = -1000.0
Answer = Callable[[float, int, float], Reading]


@dataclass(frozen=True)
class Trip:
    """Worlds in which `guard` must speak between `earliest_s` and `latest_s`, and in which it must not."""

    guard: str
    reaction: Reaction
    bad: World
    good: World
    earliest_s: float
    latest_s: float
    quiet_for_s: float = 1500.0


def at(when_s: float, before: float, after: float) -> OfTime:
    """One value, then another."""
    return lambda now_s: before if now_s < when_s else after


def flag(name: str, value: bool, from_s: float = 100.0) -> Callable[[float], dict[str, bool]]:
    """A reported condition that appears."""
    return lambda now_s: {name: value} if now_s >= from_s else {}


def frozen(channel: int, from_s: float = 100.0) -> Answer:
    """One channel repeats to the last digit."""
    return lambda now_s, c, ohm: Reading(140.0 if c == channel and now_s >= from_s else ohm, "ohm", now_s)


def bad_reading(*channels: int) -> Answer:
    """Channels that are open from 100 s on."""
    return lambda now_s, c, ohm: (
        absent_reading(now_s) if c in channels and now_s >= 100.0 else Reading(ohm, "ohm", now_s)
    )


def both(track: OfTime) -> dict[str, Any]:
    """Reference and controller alike."""
    return {"reference": track, "controller": track}


def interlocks(**shown: bool | float | None) -> Callable[[float], Monitored]:
    """Interlocks that are closed until 100 s and then show this; a number that is None is absent."""
    good = {"stirrer": True, "level_low": False, "stirrer_speed": 320.0, "level": 120.0}

    def look(now_s: float) -> Monitored:
        now = good | (shown if now_s >= 100.0 else {})
        states = {name: value for name, value in now.items() if isinstance(value, bool)}
        readings = {
            name: absent_reading(now_s) if value is None else Reading(value, "mm", now_s)
            for name, value in now.items()
            if not isinstance(value, bool)
        }
        return Monitored(now_s, "interlocks", readings, states)

    return look


def interlocks_until(when_s: float, again_s: float = 1e9) -> Callable[[float], Monitored | None]:
    """Interlocks that answer, fall silent, and perhaps answer again."""
    return lambda now_s: None if when_s < now_s < again_s else interlocks()(now_s)


def readout(*temperatures_c: float | None) -> Callable[[float], Monitored]:
    """A readout that shows 100 °C until 100 s, and then these one after the other, the last one for ever."""

    def look(now_s: float) -> Monitored:
        at = min(int(now_s) - 100, len(temperatures_c) - 1)
        value = temperatures_c[at] if at >= 0 else 100.0
        shown = absent_reading(now_s) if value is None else Reading(value, "degC", now_s)
        return Monitored(now_s, "readout", {"sensor_a": shown, "sensor_b": Reading(99.0, "degC", now_s)}, {})

    return look


def ambient(temperature_c: float, humidity_percent: float) -> Callable[[float], Monitored]:
    """The air of the room, always the same."""
    return lambda now_s: Monitored(
        now_s,
        "ambient",
        {
            "temperature": Reading(temperature_c, "degC", now_s),
            "humidity": Reading(humidity_percent, "percent", now_s),
        },
        {},
    )


def late(seconds: float, times: int = 1) -> Callable[[float], Machine]:
    """The watch comes late in the first so many reports after two minutes."""
    return lambda now_s: Machine(now_s, late_s=seconds if 120 <= now_s < 120 + 60 * times else 0.0)


HEALTHY = World()
