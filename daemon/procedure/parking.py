"""Bringing the source down: from what is measured, at the rate the most fragile thermometer bears.

Nothing here ever raises a set-point, switches a heater on, or starts a fan or a chiller. A fluid that would
freeze in the room is brought down to where it is just held molten, and its heater left as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass

from daemon.actions import Action, LookAtSource, Mark, WriteRamp, WriteSetPoint
from daemon.observations import Observation, Source
from daemon.procedure.advice import Advice
from daemon.procedure.commands import commanded, move_to, switches
from daemon.procedure.script import CommandFailed, Procedure, Script
from daemon.procedure.watching import Watching

COOL_C = 40.0
"""Below this a source harms nobody and nothing. Common practice, no source."""

_PARKED_WITHIN_K, _HELD_WITHIN_K = 2.0, 1.0
_LAG_S = 1800.0
_HELD_UP_FOR_S = 600.0
_LONGEST_COOLING_S = 24 * 3600.0
_AT_REST_FOR_S = 600.0
_RISE_ALLOWED_K = 3.0
_COLD_C, _COLD_RISE_ALLOWED_K = 25.0, 10.0


@dataclass(frozen=True, slots=True)
class Seen:
    """One look: hottest believed temperature, set-point and display in °C (None: the source did not say)."""

    when_s: float
    temperature_c: float
    set_point_c: float | None
    shown_c: float | None = None

    @property
    def reads_low_by_k(self) -> float:
        """How much hotter the source is than its controller believes."""
        return 0.0 if self.shown_c is None else max(0.0, self.temperature_c - self.shown_c)

    @property
    def held_up(self) -> bool:
        """True when the controller is at its set-point and heats to stay there, whatever others read."""
        if self.shown_c is None or self.set_point_c is None:
            return False
        return self.shown_c <= self.set_point_c + _HELD_WITHIN_K


def park(script: Script, watching: Watching) -> Procedure:
    """Go down to the parking temperature, heater off unless it holds a fluid molten; watch until it rests.

    Starts from the measured temperature, since starting from the old set-point would heat on in mid
    ramp; a set-point that is lower already is left. A source below its parking temperature is left to
    warm by itself. Raises CommandFailed when the source does not obey or does not cool.
    """
    yield from watching.scan(script.scan_current_ma)
    seen = yield from look(script, watching)
    yield Mark("parking", {"from_c": round(seen.temperature_c, 2), "to_c": script.source.parking_c})
    advice = Advice(script)
    yield from advice.say(seen.temperature_c)
    yield from _stop_rising(script, seen)
    yield from switches(script, heater=None, cooling=False)
    seen = yield from _down(script, watching, advice, seen)
    if not script.source.molten:
        yield from switches(script, heater=False, cooling=None)
        yield Mark("heater_off", {"temperature_c": round(seen.temperature_c, 2)})
    seen = yield from _until_cool(script, watching, advice)
    yield Mark("parked", {"temperature_c": round(seen.temperature_c, 2)})


def look(script: Script, watching: Watching) -> Generator[Action, Observation, Seen]:
    """The higher of what controller and reference say, less the display's known offset."""
    observation = yield LookAtSource()
    watching.now_s = observation.when_s
    known_c = watching.temperatures_c.get(script.reference_channel)
    shown_c = set_point_c = None
    if isinstance(observation, Source):
        shown_c, set_point_c = observation.status.temperature.value, observation.status.set_point.value
    shown_c = None if shown_c is None else shown_c - script.source.display_offset_k
    told = [known_c, shown_c]
    hottest_c = max((t for t in told if t is not None), default=script.source.parking_c)
    return Seen(observation.when_s, hottest_c, set_point_c, shown_c)


def is_cool(script: Script, temperature_c: float, *, cut: bool = False) -> bool:
    """At its parking temperature, or cold enough to be left; after a `cut` nothing is held at parking."""
    if cut and script.source.molten:
        return temperature_c <= COOL_C
    return temperature_c <= max(script.source.parking_c + _PARKED_WITHIN_K, COOL_C)


def rests(first: Seen, last: Seen) -> bool | None:
    """Whether the source stayed cool for ten minutes; None while they are not over.

    A source colder than the room warms by itself; a stuck relay warms it much faster than that.
    """
    if last.when_s - first.when_s < _AT_REST_FOR_S:
        return None
    allowed_k = _COLD_RISE_ALLOWED_K if last.temperature_c <= _COLD_C else _RISE_ALLOWED_K
    return last.temperature_c - first.temperature_c <= allowed_k


def _stop_rising(script: Script, seen: Seen) -> Generator[Action, Observation, None]:
    """The set-point comes down to what is measured: this alone ends the heating."""
    lowest_c = script.source.parking_c if script.source.molten else script.source.minimum_c
    stop_c = round(max(seen.temperature_c, lowest_c), 2)
    if seen.set_point_c is None or seen.set_point_c > stop_c:
        yield from commanded(WriteSetPoint(stop_c))


def _down(
    script: Script, watching: Watching, advice: Advice, seen: Seen
) -> Generator[Action, Observation, Seen]:
    parking_c, rate_at = script.source.parking_c, script.source.cooling_k_per_min
    while seen.temperature_c > parking_c + _PARKED_WITHIN_K:
        measured_c, rate = seen.temperature_c, rate_at(seen.temperature_c)
        target_c = _slow_until_c(measured_c, parking_c, rate_at)
        # A zone must be left behind for certain, parking only be reached.
        reach_c = target_c + _PARKED_WITHIN_K if target_c <= parking_c else target_c
        # A controller that reads low would stay too hot at its set-point, and heat to stay there.
        low_k = seen.reads_low_by_k if seen.held_up else 0.0
        aim_c = round(max(script.source.minimum_c, reach_c - _PARKED_WITHIN_K - low_k), 2)
        lowest_c = seen.set_point_c
        if lowest_c is None or lowest_c > aim_c:
            start_c = measured_c if lowest_c is None else min(measured_c, lowest_c)
            yield from move_to(script, start_c, aim_c, rate)
        elif script.source.can_ramp:
            yield from commanded(WriteRamp(rate))
        patience_s = 60.0 * (measured_c - target_c) / rate + _LAG_S
        seen = yield from _watch_until(script, watching, advice, reach_c, patience_s)
        lowest = aim_c <= script.source.minimum_c
        if seen.temperature_c > reach_c and (lowest or not seen.held_up):
            # It falls slower by itself than the probes allow: no heat is needed to hold it back.
            break
    return seen


def _watch_until(
    script: Script, watching: Watching, advice: Advice, reach_c: float, patience_s: float
) -> Generator[Action, Observation, Seen]:
    """Go on reading until the source has come down to `reach_c`, is held above it, or patience is over."""
    started_s = free_s = watching.now_s
    while True:
        yield from watching.scan(script.scan_current_ma)
        seen = yield from look(script, watching)
        yield from advice.say(seen.temperature_c)
        free_s = free_s if seen.held_up else seen.when_s
        over_s = seen.when_s - started_s
        if seen.temperature_c <= reach_c or seen.when_s - free_s > _HELD_UP_FOR_S or over_s > patience_s:
            return seen


def _until_cool(script: Script, watching: Watching, advice: Advice) -> Generator[Action, Observation, Seen]:
    """Down is not enough: it must stay so, or a stuck relay would be left alone with the source."""
    started_s = watching.now_s
    first: Seen | None = None
    while True:
        seen = yield from look(script, watching)
        yield from advice.say(seen.temperature_c)
        first = None if not is_cool(script, seen.temperature_c) else first or seen
        # A fluid that is held molten may still warm up to where it is held.
        held = script.source.molten and first is not None and seen.when_s - first.when_s >= _AT_REST_FOR_S
        stays = True if held else rests(first, seen) if first is not None else None
        if stays:
            return seen
        if stays is False or seen.when_s - started_s > _LONGEST_COOLING_S:
            raise CommandFailed(f"the source was parked and is not at rest at {seen.temperature_c:.1f} °C")
        yield from watching.scan(script.scan_current_ma)


def _slow_until_c(measured_c: float, parking_c: float, rate_at: Callable[[float], float]) -> float:
    """How far down the present cooling rate is demanded: to the parking temperature, or to a faster zone."""
    here = rate_at(measured_c)
    step_c = measured_c
    while step_c > parking_c and rate_at(step_c) <= here:
        step_c -= 1.0
    return max(step_c, parking_c)
