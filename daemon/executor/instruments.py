"""Carrying out one action on the instruments: action in, observation out, no decision in between."""

from __future__ import annotations

from dataclasses import dataclass

from daemon.actions import (
    Action,
    AskPerson,
    HearPerson,
    LookAtSource,
    Mark,
    Measure,
    SwitchCooling,
    SwitchHeater,
    Wait,
    WriteRamp,
    WriteSetPoint,
)
from daemon.observations import Done, Failed, Observation, Resistance, Source
from drivers.clock import Clock
from drivers.errors import InstrumentError
from drivers.roles import Bridge, HeatSource

_AFTER_FAILURE_S = 1.0
"""A failing instrument is not asked again at once."""


@dataclass(frozen=True)
class Instruments:
    """The bench's instruments in their roles."""

    source: HeatSource
    bridge: Bridge
    clock: Clock

    async def carry_out(self, action: Action) -> Observation:
        """Do it; an instrument's failure is an observation, not an exception."""
        role = "bridge" if isinstance(action, Measure) else "source"
        try:
            return await self._do(action)
        except InstrumentError as error:
            reason = str(error) or type(error).__name__
            await self.clock.sleep(_AFTER_FAILURE_S)
            return Failed(self.clock.monotonic_s(), role, reason, type(error).__name__)

    async def _do(self, action: Action) -> Observation:
        match action:
            case Measure(channel, current_ma, use):
                reading = await self.bridge.measure(channel, current_ma)
                return Resistance(self.clock.monotonic_s(), channel, current_ma, reading, use)
            case LookAtSource():
                return await self.look()
            case WriteSetPoint(temperature_c):
                await self.source.write_set_point(temperature_c)
            case WriteRamp(rate_k_per_min):
                await self.source.write_ramp(rate_k_per_min)
            case SwitchHeater(on):
                await self.source.write_heater(on)
            case SwitchCooling(on):
                await self.source.write_cooling(on)
            case Wait(seconds):
                await self.clock.sleep(seconds)
            case Mark() | AskPerson() | HearPerson():
                pass
        return Done(self.clock.monotonic_s())

    async def look(self) -> Source:
        """One look at the heat source; raises InstrumentError."""
        status = await self.source.status()
        return Source(self.clock.monotonic_s(), status)

    async def close(self) -> None:
        """Let go of the wires."""
        await self.source.close()
        await self.bridge.close()
