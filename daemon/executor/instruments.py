"""Carrying out one action on the instruments: action in, observation out, no decision in between."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass

from daemon.actions import (
    Action,
    AskPerson,
    HearPerson,
    LookAtRoom,
    LookAtSource,
    Mark,
    Measure,
    SwitchCooling,
    SwitchHeater,
    Wait,
    WriteRamp,
    WriteSetPoint,
)
from daemon.lease import Lease
from daemon.observations import Done, Failed, Monitored, Observation, Resistance, Source
from drivers.clock import Clock
from drivers.errors import InstrumentError
from drivers.quantities import Reading
from drivers.roles import Ambient, Bridge, HeatSource, Interlocks, Readout

_AFTER_FAILURE_S = 1.0
"""A failing instrument is not asked again at once."""


Device = HeatSource | Bridge | Readout | Ambient | Interlocks
Ask = Callable[[], Awaitable[Mapping[str, Reading | bool]]]


@dataclass(frozen=True)
class Monitor:
    """An instrument that is only looked at, every so often: `ask` gives all it shows."""

    role: str
    device: Readout | Ambient | Interlocks
    ask: Ask
    every_s: float


@dataclass(frozen=True)
class Instruments:
    """The bench's instruments in their roles; `lease` where the heat source reacts to silence by itself."""

    source: HeatSource
    bridge: Bridge
    clock: Clock
    monitors: tuple[Monitor, ...] = ()
    lease: Lease | None = None

    @property
    def devices(self) -> list[tuple[str, Device]]:
        """Every instrument under the name of its role."""
        others = [(monitor.role, monitor.device) for monitor in self.monitors]
        return [("source", self.source), ("bridge", self.bridge), *others]

    async def carry_out(self, action: Action) -> Observation:
        """Do it; an instrument's failure is an observation, not an exception."""
        role = {Measure: "bridge", LookAtRoom: "ambient"}.get(type(action), "source")
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
            case LookAtRoom():
                return await self.look_beside(next(m for m in self.monitors if m.role == "ambient"))
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

    async def look_beside(self, monitor: Monitor) -> Monitored:
        """One look at an instrument beside the heat source; raises InstrumentError."""
        shown = await monitor.ask()
        readings = {name: value for name, value in shown.items() if isinstance(value, Reading)}
        states = {name: value for name, value in shown.items() if isinstance(value, bool)}
        return Monitored(self.clock.monotonic_s(), monitor.role, readings, states)

    async def close(self) -> None:
        """Let go of the wires."""
        for _, device in self.devices:
            await device.close()
