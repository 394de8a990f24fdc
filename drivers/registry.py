"""Opens an instrument by profile and address: shipped profiles, own profile files, plug-ins.

A plug-in is an entry point in the group `ohmvigil.drivers`; its name stands where a profile's name
would, and it is called with a Link and a Clock, never with a raw port, so that what it says and hears
is recorded too. Nothing is sent before the first call. Instruments on one port share its line.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from drivers.bridge import AS_IT_IS, BridgeSettings, ProfileBridge
from drivers.clock import Clock
from drivers.errors import BadProfile
from drivers.heat_source import ProfileHeatSource
from drivers.lines import NO_FAR_ENDS, Lines
from drivers.link_events import Transcript
from drivers.modbus import TcpFraming
from drivers.monitors import ProfileAmbient, ProfileInterlocks, ProfileReadout
from drivers.plug_in import PlugInDevice, look_at
from drivers.plug_in_points import installed
from drivers.profile import load_profile
from drivers.profile_model import LinkSettings, Profile, SerialSettings
from drivers.roles import Ambient, Bridge, HeatSource, Interlocks, Readout, Scanner
from drivers.scanner import ProfileScanner
from drivers.wires.address import Address, parse_address
from drivers.wires.memory import FarEnd

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

SHIPPED = Path(__file__).parent / "profiles"
PLUG_IN_LINK = LinkSettings(
    ("simulated", "tcp", "serial", "visa"), 1.0, 3.0, 0.0, True, False, b"\n", SerialSettings()
)


@dataclass(frozen=True, slots=True)
class PlugIn:
    """One installed plug-in; `fault` says in words why it cannot be used, empty when it can."""

    name: str
    origin: str
    fault: str = ""


def open_heat_source(
    profile: str,
    address: str,
    clock: Clock,
    *,
    far_ends: Mapping[str, FarEnd] = NO_FAR_ENDS,
    transcript: Transcript | None = None,
    lines: Lines | None = None,
    limits_c: tuple[float, float] | None = None,
) -> HeatSource:
    """A heat source by profile name, profile file or plug-in name; raises BadProfile.

    `far_ends` are the simulated instruments behind "simulated:NAME"; `limits_c` narrows the profile's.
    The instruments of a bench are given its `lines`; without them this one has its port to itself.
    """
    return _open("heat-source", profile, address, lines or Lines(clock, far_ends, transcript), limits_c)  # type: ignore[no-any-return]


def open_bridge(
    profile: str,
    address: str,
    clock: Clock,
    *,
    far_ends: Mapping[str, FarEnd] = NO_FAR_ENDS,
    transcript: Transcript | None = None,
    lines: Lines | None = None,
    settings: BridgeSettings = AS_IT_IS,
) -> Bridge:
    """A bridge by profile name, profile file or plug-in name, set as the bench wants; raises BadProfile."""
    opened = _open("bridge", profile, address, lines or Lines(clock, far_ends, transcript), None)
    if isinstance(opened, ProfileBridge) and settings != AS_IT_IS:
        opened.choose(settings)
    elif settings.resistor_ohm is not None:
        raise BadProfile(f"plug-in {profile} shows resistances: take the standard resistor out")
    return opened  # type: ignore[no-any-return]


def open_scanner(profile: str, address: str, lines: Lines) -> Scanner:
    """A scanner by profile or plug-in name, on the bench's lines; raises BadProfile."""
    return _open("scanner", profile, address, lines, None)  # type: ignore[no-any-return]


def open_readout(profile: str, address: str, lines: Lines) -> Readout:
    """A plain temperature readout by profile or plug-in name, on the bench's lines; raises BadProfile."""
    return _open("readout", profile, address, lines, None)  # type: ignore[no-any-return]


def open_ambient(profile: str, address: str, lines: Lines) -> Ambient:
    """An ambient monitor by profile or plug-in name, on the bench's lines; raises BadProfile."""
    return _open("ambient", profile, address, lines, None)  # type: ignore[no-any-return]


def open_interlocks(profile: str, address: str, lines: Lines) -> Interlocks:
    """Interlocks by profile or plug-in name, on the bench's lines; raises BadProfile."""
    return _open("interlocks", profile, address, lines, None)  # type: ignore[no-any-return]


def shipped_profiles() -> list[str]:
    """Names of the profiles that come with the program."""
    return sorted(path.stem for path in SHIPPED.glob("*.toml"))


def find_profile(name: str, unit_id: int | None = None) -> Profile | None:
    """A shipped profile by name or any profile by path; None when the name is neither.

    `unit_id` is the one in the address, where several units share a port.
    """
    if name in shipped_profiles():
        return load_profile(SHIPPED / f"{name}.toml", unit_id)
    if name.endswith(".toml"):
        return load_profile(Path(name), unit_id)
    return None


def profile_with_tables(name: str, unit_id: int | None = None) -> tuple[Profile, Mapping[str, Any]]:
    """A profile, and its file as plain tables: where each field lies is only said there.

    Raises BadProfile, also for a plug-in, which has neither.
    """
    profile = find_profile(name, unit_id)
    if profile is None:
        raise BadProfile(f"{name} is a plug-in: it has no profile that says what it is asked and answers")
    path = SHIPPED / f"{name}.toml" if name in shipped_profiles() else Path(name)
    return profile, tomllib.loads(path.read_text(encoding="utf-8"))


def plug_ins() -> list[PlugIn]:
    """Every installed plug-in, the faulty ones with their error."""
    return [_try(point) for point in installed()]


def _try(point: EntryPoint) -> PlugIn:
    try:
        look_at(point.name)
    except BadProfile as error:
        return PlugIn(point.name, point.value, str(error))
    return PlugIn(point.name, point.value)


def open_plug_in(name: str, address: str, lines: Lines) -> PlugInDevice:
    """A plug-in's instrument in whichever role it shows; raises BadProfile."""
    return _open_plug_in(None, name, parse_address(address), lines)


def _open(role: str, name: str, address: str, lines: Lines, limits_c: tuple[float, float] | None) -> Any:
    place = parse_address(address)
    profile = find_profile(name, place.unit_id)
    if profile is None:
        return _open_plug_in(role, name, place, lines, limits_c)
    if profile.role != role:
        raise BadProfile(f"profile {name} is for the role {profile.role}, not {role}")
    if place.kind not in profile.link.transports:
        raise BadProfile(
            f"profile {name} is not for {place.kind}; it offers {', '.join(profile.link.transports)}"
        )
    on_a_bus = profile.link.half_duplex and not isinstance(profile.framing(place.kind), TcpFraming)
    link = lines.link(place, profile.link, on_a_bus)
    if role == "heat-source":
        return ProfileHeatSource(profile, link, place.kind, lines.clock, limits_c)
    return _OTHERS[role](profile, link, place.kind, lines.clock)


_OTHERS = {
    "bridge": ProfileBridge,
    "scanner": ProfileScanner,
    "readout": ProfileReadout,
    "ambient": ProfileAmbient,
    "interlocks": ProfileInterlocks,
}


def _open_plug_in(
    role: str | None, name: str, place: Address, lines: Lines, limits_c: tuple[float, float] | None = None
) -> PlugInDevice:
    known = [point.name for point in installed()]
    if name not in known:
        names = ", ".join([*shipped_profiles(), *known])
        raise BadProfile(f"no profile {name!r}; known: {names}, or a path ending in .toml")
    return PlugInDevice(name, lines.link(place, PLUG_IN_LINK, False), lines.clock, role, limits_c)
