"""Telling the heat source something: three tries, each confirmed by read-back, then an honest failure."""

from __future__ import annotations

from collections.abc import Generator

from daemon.actions import (
    Action,
    Command,
    Measure,
    SwitchCooling,
    SwitchHeater,
    Wait,
    WriteRamp,
    WriteSetPoint,
)
from daemon.observations import Failed, Observation
from daemon.procedure.script import CommandFailed, Script

_TRIES = 3
_PAUSE_S = 3.0
_STEP_S = 60.0


def commanded(command: Command) -> Generator[Action, Observation, float]:
    """Carry out a command and return when it was confirmed (s); raises CommandFailed."""
    reason = ""
    for _ in range(_TRIES):
        observation = yield command
        if not isinstance(observation, Failed):
            return observation.when_s
        reason = observation.reason
        yield Wait(_PAUSE_S)
    raise CommandFailed(f"{command.do} was not confirmed in {_TRIES} tries: {reason}")


def switches(
    script: Script, *, heater: bool | None, cooling: bool | None
) -> Generator[Action, Observation, None]:
    """Set the switches that this source has."""
    if heater is not None and script.source.heater_switch:
        yield from commanded(SwitchHeater(heater))
    if cooling is not None and script.source.cooling_switch:
        yield from commanded(SwitchCooling(cooling))


def move_to(
    script: Script, from_c: float, to_c: float, rate_k_per_min: float
) -> Generator[Action, Observation, None]:
    """Bring the set-point to `to_c` no faster than the rate, by the controller's ramp or step by step."""
    if script.source.can_ramp:
        yield from commanded(WriteRamp(rate_k_per_min))
        yield from commanded(WriteSetPoint(to_c))
        return
    step_k = rate_k_per_min * _STEP_S / 60.0
    set_point_c = from_c
    while set_point_c != to_c:
        change_k = max(-step_k, min(step_k, to_c - set_point_c))
        set_point_c = to_c if abs(to_c - set_point_c) <= step_k else set_point_c + change_k
        done_s = yield from commanded(WriteSetPoint(set_point_c))
        while set_point_c != to_c and done_s >= 0:
            observation = yield Measure(script.reference_channel, script.scan_current_ma)
            if observation.when_s - done_s >= _STEP_S:
                break
