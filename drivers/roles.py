"""What an instrument must offer to take a role on a bench: small Protocols with capability flags."""

from __future__ import annotations

from collections.abc import Mapping
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
    """Channels are numbered from 1; currents in mA, negative ones too with `reversal`; time in seconds.

    `discard`: conversions to throw away after somebody else switched its input; `range_ohm`: highest
    resistance of the range that is set, None when it has no ranges; `resistor_ohm`: the standard resistor its
    ratios are taken times, None when it shows resistances itself.
    """

    channels: int
    currents_ma: tuple[float, ...]
    integration_s: float
    settling_s: float
    reversal: bool = False
    discard: int = 0
    range_ohm: float | None = None
    resistor_ohm: float | None = None


class Bridge(Protocol):
    """A resistance bridge, or a ratio bridge with its standard resistor, reading through a scanner."""

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


@dataclass(frozen=True, slots=True)
class ScannerCapabilities:
    """Channels are numbered from 1; `settling_s` is waited after each switch."""

    channels: int
    settling_s: float


class Scanner(Protocol):
    """An instrument of its own that puts one of many thermometers to a bridge's input."""

    @property
    def capabilities(self) -> ScannerCapabilities: ...

    async def identify(self) -> str:
        """Ask who it is; raises WrongIdentity."""

    async def select(self, channel: int) -> None:
        """Close one channel, open the others, read back; raises OutsideLimits, InstrumentError."""

    async def closed(self) -> int:
        """The channel that is closed now, asked on the wire; 0 when none is. Raises InstrumentError."""

    async def close(self) -> None:
        """Let go of the wire."""


class Readout(Protocol):
    """A plain temperature readout: it shows °C by a characteristic of its own."""

    async def identify(self) -> str:
        """Ask who it is; raises WrongIdentity."""

    async def temperatures(self) -> Mapping[str, Reading]:
        """Every temperature it shows, in °C, by name; all of one moment. Raises InstrumentError."""

    async def close(self) -> None:
        """Let go of the wire."""


class Ambient(Protocol):
    """The room beside the bench."""

    async def identify(self) -> str:
        """Ask who it is; raises WrongIdentity."""

    async def conditions(self) -> Mapping[str, Reading]:
        """`temperature` in °C, and `pressure` in hPa and `humidity` in % where it has them."""

    async def close(self) -> None:
        """Let go of the wire."""


class Interlocks(Protocol):
    """Switches and level or speed sensors at the bath, read beside the heat source's own states."""

    async def identify(self) -> str:
        """Ask who it is; raises WrongIdentity."""

    async def states(self) -> Mapping[str, Reading | bool]:
        """Of `stirrer` and `level_low` (switches), `stirrer_speed` in 1/min and `level` in mm what it has."""

    async def close(self) -> None:
        """Let go of the wire."""
