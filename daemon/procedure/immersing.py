"""The immersion profile: a person withdraws a probe step by step, and puts it back; read at each depth."""

from __future__ import annotations

from collections.abc import Generator

from daemon.actions import Action, AskPerson, HearPerson, Mark
from daemon.observations import Heard, Observation
from daemon.procedure.measuring import read_visit, visits
from daemon.procedure.script import ImmersionProfile, Point, Resoak
from daemon.procedure.watching import Watching
from daemon.touching import COLD_C, HOT_C

Profile = Generator[Action, Observation, None]

STEPS = (0, 1, 2, 3, 0)
"""Withdrawals in steps, the last back at full depth: what changed by itself meanwhile shows there."""

_PATIENCE_S = 900.0
_NOT_BACK = "nobody confirmed that it is back at its depth after the immersion profile"


def use_at(place: int, withdrawn_mm: float) -> str:
    """How readings of the profile are marked: the place in the order and the withdrawal."""
    return f"immersion_{place}_{withdrawn_mm:g}_mm"


def immersion_profile(watching: Watching, point: Point, profile: ImmersionProfile) -> Profile:
    """Read one item at each depth; when nobody says that it is back, it is left out of the rest."""
    name = watching.script.channels[profile.channel].name
    if profile.channel in watching.left_out:
        return
    data = {"index": point.index, "channel": profile.channel, "name": name, "step_mm": profile.step_mm}
    yield Mark("immersion_started", data)
    away = False
    try:
        for place, steps in enumerate(STEPS):
            withdrawn_mm = steps * profile.step_mm
            if place > 0:
                away = True
                answered = yield from _set_depth(
                    watching, point, _request(point, profile, name, withdrawn_mm)
                )
                if not answered:
                    yield from watching.leave_out(profile.channel, _NOT_BACK)
                    return
                away = steps != 0
                yield from _wait(watching, point, watching.now_s + profile.wait_s)
            yield from _read(watching, point, profile.channel, use_at(place, withdrawn_mm))
    except Resoak:
        if away:
            yield from watching.leave_out(profile.channel, _NOT_BACK)
        raise
    yield Mark("immersion_finished", data)


def _request(point: Point, profile: ImmersionProfile, name: str, withdrawn_mm: float) -> AskPerson:
    safe = COLD_C <= point.temperature_c <= HOT_C
    caution = (
        "" if safe else f" CAUTION: the sheath is at about {point.temperature_c:.0f} °C: gloves, no drips."
    )
    where = (
        f"{withdrawn_mm:g} mm further out than its full depth" if withdrawn_mm else "at its full depth again"
    )
    request = f"Set {name} {where}, then say proceed.{caution}"
    return AskPerson(request, profile.channel, withdrawn_mm)


def _set_depth(watching: Watching, point: Point, request: AskPerson) -> Generator[Action, Observation, bool]:
    """Ask, and read on until it is done; False when nobody answers."""
    asked = yield request
    while watching.now_s - asked.when_s <= _PATIENCE_S:
        yield from watching.scan(point.current_ma)
        answer = yield HearPerson()
        if isinstance(answer, Heard) and answer.said:
            return True
    return False


def _wait(watching: Watching, point: Point, until_s: float) -> Profile:
    while watching.now_s < until_s:
        yield from watching.scan(point.current_ma)


def _read(watching: Watching, point: Point, channel: int, use: str) -> Profile:
    """Cycles S U U S, as at the point itself."""
    reference = watching.script.reference_channel
    for cycle in range(1, point.cycles + 1):
        for visit in visits((reference, channel, channel, reference)):
            yield from read_visit(watching, point, visit, cycle, use, point.current_ma)
