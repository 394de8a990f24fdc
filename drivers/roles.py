"""What an instrument must offer to take a role on a bench: small Protocols with capability flags."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from drivers.quantities import Reading


@dataclass(frozen=True, slots=True)
class SourceStatus:
    """One look at a heat source. A field the instrument does not offer is None."""

    when_s: float
    temperature: Reading
    set_point: Reading
    output_percent: float | None = None
    heater_on: bool | None = None
    over_temperature: bool | None = None
    stirrer_on: bool | None = None
    level_low: bool | None = None
    raw: str = ""


@dataclass(frozen=True, slots=True)
class HeatSourceCapabilities:
    """What a heat source can do; temperatures in °C, resolution in K."""

    minimum_c: float
    maximum_c: float
    set_point_resolution_k: float
    ramp: bool = False
    heater_switch: bool = False
    cooling_switch: bool = False
    output: bool = False
    over_temperature: bool = False
    stirrer: bool = False
    level: bool = False


class HeatSource(Protocol):
    """A stirred bath, dry block or furnace controller."""

    @property
    def capabilities(self) -> HeatSourceCapabilities: ...

    async def identify(self) -> str:
        """Ask who it is; raises WrongIdentity."""

    async def status(self) -> SourceStatus:
        """One look; raises InstrumentError."""

    async def write_set_point(self, temperature_c: float) -> None:
        """Write and read back; raises NotConfirmed, OutsideLimits, InstrumentError."""

    async def write_ramp(self, rate_k_per_min: float) -> None:
        """Write the controller's ramp limit and read back where it has one."""

    async def write_heater(self, on: bool) -> None:
        """Switch the heater output."""

    async def write_cooling(self, on: bool) -> None:
        """Switch the cooling (fan, chiller)."""

    async def make_safe(self) -> None:
        """Heater off by every step the profile has, each tried even if the one before failed."""

    async def close(self) -> None:
        """Let go of the wire."""


@dataclass(frozen=True, slots=True)
class BridgeCapabilities:
    """Channels are numbered from 1; currents in mA, negative ones too with `reversal`; time in seconds."""

    channels: int
    currents_ma: tuple[float, ...]
    integration_s: float
    settling_s: float
    reversal: bool = False


class Bridge(Protocol):
    """A resistance bridge reading through its scanner."""

    @property
    def capabilities(self) -> BridgeCapabilities: ...

    async def identify(self) -> str:
        """Ask who it is; raises WrongIdentity."""

    async def measure(self, channel: int, current_ma: float) -> Reading:
        """Resistance in ohm of one channel at one current; the reply is tied to its channel.

        A sensor that is open, shorted or over range gives an absent reading with the reason;
        a failure of the wire raises InstrumentError.
        """

    async def close(self) -> None:
        """Let go of the wire."""


class Ambient(Protocol):
    """Room temperature and humidity beside the bench."""

    async def identify(self) -> str:
        """Ask who it is; raises WrongIdentity."""

    async def temperature(self) -> Reading:
        """Room temperature in °C."""

    async def close(self) -> None:
        """Let go of the wire."""
