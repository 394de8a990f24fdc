"""On the way to a point: by the point's ramp, and slower where a thermometer may not be cooled fast."""

from __future__ import annotations

from collections.abc import Generator

from daemon.actions import Action, Mark
from daemon.observations import Observation
from daemon.procedure.commands import move_to
from daemon.procedure.script import Point, Script
from daemon.procedure.watching import Watching

_DOWN_WITHIN_K = 2.0


def approach(script: Script, watching: Watching, point: Point) -> Generator[Action, Observation, None]:
    """Command the way from where the reference is to the point; waits only in the slow part of a fall."""
    reference = script.reference_channel
    from_c = watching.temperatures_c.get(reference, point.temperature_c)
    rate_at, knee_c = script.source.cooling_k_per_min, from_c
    while knee_c > point.temperature_c and rate_at(knee_c) < rate_at(point.temperature_c):
        knee_c -= 1.0
    knee_c = max(knee_c, point.temperature_c)
    if knee_c < from_c:
        slow = min(point.ramp_k_per_min, rate_at(from_c))
        yield Mark("cooling_slowly", {"to_c": round(knee_c, 2), "rate_k_per_min": round(slow, 3)})
        yield from move_to(script, from_c, round(knee_c, 2), slow)
        while watching.temperatures_c[reference] > knee_c + _DOWN_WITHIN_K:
            yield from watching.scan(point.current_ma)
        from_c = knee_c
    yield from move_to(script, from_c, point.temperature_c, point.ramp_k_per_min)
