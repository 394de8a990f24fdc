"""What is on the wires: serial ports, VISA resources, and who answers at an address."""

from __future__ import annotations

import math
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeGuard, cast

from drivers.bridge import BridgeSettings
from drivers.clock import Clock
from drivers.errors import BadProfile, InstrumentError
from drivers.lines import Lines
from drivers.link_events import Transcript
from drivers.quantities import Reading
from drivers.registry import (
    find_profile,
    open_ambient,
    open_bridge,
    open_heat_source,
    open_interlocks,
    open_plug_in,
    open_readout,
    open_scanner,
)
from drivers.roles import Ambient, Bridge, HeatSource, Interlocks, Readout, Scanner

BY_ID = Path("/dev/serial/by-id")


@dataclass(frozen=True, slots=True)
class SerialPort:
    """`stable` is the name to write into a bench file; it does not move when others are plugged in."""

    device: str
    stable: str
    description: str


@dataclass(frozen=True, slots=True)
class Answer:
    """Who answered the identity question of a profile, or why nobody did."""

    profile: str
    identity: str
    fault: str


def serial_ports(by_id: Path = BY_ID) -> list[SerialPort]:
    """Every serial port of this machine, sorted by device."""
    from serial.tools import list_ports

    stable = _stable_names(by_id)
    return [
        SerialPort(
            port.device, stable.get(str(Path(port.device).resolve()), port.device), port.description or ""
        )
        for port in sorted(list_ports.comports(), key=lambda port: port.device)
    ]


def _stable_names(by_id: Path) -> dict[str, str]:
    if not by_id.is_dir():
        return {}
    return {str(link.resolve()): str(link) for link in sorted(by_id.iterdir())}


def visa_resources(backend: str = "@py") -> list[str]:
    """Every VISA resource the backend finds. It may broadcast on the network and take seconds: only
    when a person asks. Raises BadProfile when the backend is not installed."""
    import pyvisa

    try:
        return sorted(pyvisa.ResourceManager(backend).list_resources("?*"))
    except (OSError, ValueError, pyvisa.Error) as error:
        raise BadProfile(
            f"VISA backend {backend}: {' '.join(str(error).split())}; is it installed?"
        ) from error


Device = HeatSource | Bridge | Scanner | Readout | Ambient | Interlocks
Ask = Callable[[], Awaitable[Mapping[str, Reading | bool]]]

_OPEN: Mapping[str, Callable[[str, str, Lines], Device]] = {
    "readout": open_readout,
    "ambient": open_ambient,
    "interlocks": open_interlocks,
    "scanner": open_scanner,
}


def open_any(
    profile: str,
    address: str,
    clock: Clock,
    resistor_ohm: float | None = None,
    transcript: Transcript | None = None,
) -> Device:
    """The instrument of a profile or plug-in in whichever role it has; raises BadProfile.

    `resistor_ohm`: the standard resistor of a ratio bridge; `transcript` is told every byte.
    """
    lines = Lines(clock, transcript=transcript)
    found = find_profile(profile)
    if resistor_ohm is not None and not (math.isfinite(resistor_ohm) and resistor_ohm > 0.0):
        raise BadProfile(f"a standard resistor of {resistor_ohm:g} Ω: expected a positive number of Ω")
    if resistor_ohm is not None and (found is None or found.role != "bridge"):
        raise BadProfile(f"{profile} is no ratio bridge: it has no standard resistor")
    if found is not None and found.role in _OPEN:
        return _OPEN[found.role](profile, address, lines)
    if found is not None and found.role == "bridge":
        return open_bridge(
            profile, address, clock, lines=lines, settings=BridgeSettings(resistor_ohm=resistor_ohm)
        )
    if found is None:
        return cast("HeatSource", open_plug_in(profile, address, lines))
    return open_heat_source(profile, address, clock, lines=lines)


def is_bridge(instrument: Device) -> TypeGuard[Bridge]:
    """A profile states its role; a plug-in shows it by what it offers."""
    return hasattr(instrument, "measure")


def is_scanner(instrument: Device) -> TypeGuard[Scanner]:
    """As for a bridge."""
    return hasattr(instrument, "select")


def everything_of(instrument: Device) -> Ask | None:
    """How an instrument beside the heat source is asked for all it shows; None for source and bridge."""
    for name in ("temperatures", "conditions", "states"):
        if hasattr(instrument, name):
            ask: Ask = getattr(instrument, name)
            return ask
    return None


async def identify(profile: str, address: str, clock: Clock, transcript: Transcript | None = None) -> Answer:
    """Ask the identity question of one profile at an address; nothing else is sent. Raises BadProfile."""
    instrument = open_any(profile, address, clock, transcript=transcript)
    try:
        return Answer(profile, await instrument.identify(), "")
    except InstrumentError as error:
        return Answer(profile, "", str(error))
    finally:
        await instrument.close()
