"""What a profile must have to take its role."""

from __future__ import annotations

from drivers.profile_model import BridgeFacts, Profile
from drivers.profile_table import Table

HEAT_SOURCE_SWITCHES = ("heater", "cooling")


def check_roles(profile: Profile, top: Table) -> None:
    """Raise BadProfile when the role's tables and fields are not all there."""
    if profile.role == "bridge":
        _check_bridge(profile, top)
    else:
        _check_heat_source(profile, top)


def _check_bridge(profile: Profile, top: Table) -> None:
    if profile.bridge is None:
        raise top.fault(
            "bridge", "is missing; a bridge states channels, currents_ma, integration_s, settling_s"
        )
    units = _units_of(profile, top, "resistance")
    for field, unit in (("channel", ""), ("current", "mA"), ("resistance", "ohm")):
        if units.get(field) != unit:
            raise top.fault(
                "read.resistance.fields", f"needs the number field {field!r} in {unit or 'no unit'}"
            )
    for name, low, high in (
        ("channel", 1, profile.bridge.channels),
        ("current", _smallest_ma(profile.bridge), max(profile.bridge.currents_ma)),
    ):
        _check_command(profile, top, name, low, high)


def _smallest_ma(bridge: BridgeFacts) -> float:
    return -max(bridge.currents_ma) if bridge.reversal else min(bridge.currents_ma)


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
    if not profile.safe:
        raise top.fault("safe", "is missing; a heat source must say how it is made safe")


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
