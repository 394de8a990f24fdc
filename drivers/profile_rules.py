"""What a profile must have to take its role."""

from __future__ import annotations

from collections.abc import Mapping, Set

from drivers.profile_model import Profile
from drivers.profile_table import Table

HEAT_SOURCE_SWITCHES = ("heater", "cooling")
CHANNEL, RATIO, REVERSED = "channel", "ratio", "reversed"
SETTINGS: Mapping[str, str] = {"range": "ohm", "integration": "s"}
"""What a bridge may let the bench choose, by the name of its command, and in which unit."""

MONITORED: Mapping[str, tuple[str, Mapping[str, str], Set[str], Set[str]]] = {
    "readout": ("temperatures", {"*": "degC"}, frozenset(), frozenset()),
    "ambient": (
        "conditions",
        {"temperature": "degC", "pressure": "hPa", "humidity": "percent"},
        frozenset(),
        frozenset({"temperature"}),
    ),
    "interlocks": (
        "states",
        {"stirrer_speed": "1/min", "level": "mm"},
        frozenset({"stirrer", "level_low"}),
        frozenset(),
    ),
}
"""Role: its question, the units of its numbers by name, its flags, and which numbers there must be."""


def check_roles(profile: Profile, top: Table) -> None:
    """Raise BadProfile when the role's tables and fields are not all there."""
    match profile.role:
        case "bridge":
            _check_bridge(profile, top)
        case "scanner":
            _check_scanner(profile, top)
        case "heat-source":
            _check_heat_source(profile, top)
        case _:
            _check_monitor(profile, top)


def _check_bridge(profile: Profile, top: Table) -> None:
    if profile.bridge is None:
        raise top.fault(
            "bridge", "is missing; a bridge states channels, currents_ma, integration_s, settling_s"
        )
    units = _units_of(profile, top, "resistance")
    scans = profile.bridge.channels > 1 or CHANNEL in profile.commands
    for field, unit in ((CHANNEL, ""), ("current", "mA")) if scans else (("current", "mA"),):
        if units.get(field) != unit:
            raise top.fault(
                "read.resistance.fields", f"needs the number field {field!r} in {unit or 'no unit'}"
            )
    if (units.get("resistance") == "ohm") == (units.get(RATIO) == ""):
        raise top.fault(
            "read.resistance.fields", f"needs either 'resistance' in ohm or {RATIO!r} in no unit, not both"
        )
    if scans:
        _check_command(profile, top, CHANNEL, 1, profile.bridge.channels)
    _check_command(profile, top, "current", _smallest_ma(profile), max(profile.bridge.currents_ma))
    _check_settings(profile, top)


def _check_settings(profile: Profile, top: Table) -> None:
    """A switch for the polarity shows in every reading; an answer has time for the longest conversion."""
    reading = profile.questions["resistance"]
    if REVERSED in profile.commands:
        if not profile.commands[REVERSED].switch:
            raise top.fault(f"write.{REVERSED}", "needs on and off")
        if REVERSED not in reading.flags:
            raise top.fault("read.resistance.fields", f"needs the flag {REVERSED!r}, as it can be switched")
    for name, unit in SETTINGS.items():
        command = profile.commands.get(name)
        if command is not None and (command.switch or command.unit != unit):
            raise top.fault(f"write.{name}", f"takes a number in {unit}")
    longest = profile.commands.get("integration")
    if longest is not None and longest.limits is not None and longest.limits[1] >= reading.within_s:
        raise top.fault(
            "read.resistance.timeout_s", f"must exceed the longest integration, {longest.limits[1]:g} s"
        )


def _smallest_ma(profile: Profile) -> float:
    assert profile.bridge is not None
    signed = profile.bridge.reversal and REVERSED not in profile.commands
    return -max(profile.bridge.currents_ma) if signed else min(profile.bridge.currents_ma)


def _check_scanner(profile: Profile, top: Table) -> None:
    if profile.scanner is None:
        raise top.fault("scanner", "is missing; a scanner states channels, settling_s")
    if _units_of(profile, top, "closed").get(CHANNEL) != "":
        raise top.fault("read.closed.fields", f"needs the number field {CHANNEL!r} in no unit")
    _check_command(profile, top, CHANNEL, 1, profile.scanner.channels)
    verify = profile.commands[CHANNEL].verify
    if verify is None or (verify.question, verify.field) != ("closed", CHANNEL):
        raise top.fault(
            f"write.{CHANNEL}", f'needs verify = {{ read = "closed", field = "{CHANNEL}", within = 0 }}'
        )


def _check_heat_source(profile: Profile, top: Table) -> None:
    if profile.resolution_k == 0.0:
        raise top.fault("heat_source", "is missing; a heat source states resolution_k")
    units = _units_of(profile, top, "status")
    for field in ("temperature", "set_point"):
        if units.get(field) != "degC":
            raise top.fault("read.status.fields", f"needs the number field {field!r} in degC")
    _check_command(profile, top, "set_point", 20.0, 20.0)
    for name in HEAT_SOURCE_SWITCHES:
        if name in profile.commands and not profile.commands[name].switch:
            raise top.fault(f"write.{name}", "needs on and off")
    if profile.commands["set_point"].verify is None:
        raise top.fault("write.set_point", "needs verify: a set-point is always read back")
    if profile.communication_loss is not None:
        for name, unit in (
            (profile.communication_loss.time, "s"),
            (profile.communication_loss.set_point, "degC"),
        ):
            command = profile.commands[name]
            if command.switch or command.unit != unit or command.verify is None:
                raise top.fault(
                    f"write.{name}", f"sets the reaction to silence: it takes {unit} and needs verify"
                )
    if not profile.safe:
        raise top.fault("safe", "is missing; a heat source must say how it is made safe")


def _check_monitor(profile: Profile, top: Table) -> None:
    """Fields of known names and units, and nothing that could be written: these are only looked at."""
    if profile.commands:
        raise top.fault("write", f"has no place here: nothing is ever written to {profile.role}")
    question, units, flags, needed = MONITORED[profile.role]
    if question not in profile.questions:
        raise top.fault(f"read.{question}", f"is missing; the role {profile.role} needs it")
    found = profile.questions[question]
    for name, unit in found.units.items():
        if unit != units.get(name, units.get("*")):
            raise top.fault(f"read.{question}.fields.{name}", f"expected out of {_offer(units, flags)}")
    wrong = found.flags - flags
    missing = needed - found.units.keys()
    if wrong or missing or not (found.units or found.flags):
        raise top.fault(f"read.{question}.fields", f"expected out of {_offer(units, flags)}")


def _offer(units: Mapping[str, str], flags: Set[str]) -> str:
    numbers = [f"{'any name' if name == '*' else name} in {unit}" for name, unit in units.items()]
    return ", ".join([*numbers, *(f"{name} (on, off)" for name in sorted(flags))])


def _units_of(profile: Profile, top: Table, question: str) -> dict[str, str]:
    if question not in profile.questions:
        raise top.fault(f"read.{question}", f"is missing; a {profile.role} needs it")
    return dict(profile.questions[question].units)


def _check_command(profile: Profile, top: Table, name: str, low: float, high: float) -> None:
    command = profile.commands.get(name)
    if command is None or command.switch or command.limits is None:
        raise top.fault(f"write.{name}", f"is missing; a {profile.role} needs it, with limits")
    if not (command.limits[0] <= low and high <= command.limits[1]):
        raise top.fault(f"write.{name}.limits", f"must include {low:g} to {high:g}")
