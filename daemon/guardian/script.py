"""Compiles a declarative profile into the guardian's park script: every command already bytes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from daemon.guardian.orders import Look, Order, Script
from daemon.guardian.script_registers import register_look, register_reply
from daemon.guardian.script_text import text_look, text_reply
from drivers.errors import BadProfile, InstrumentError
from drivers.profile_model import Command, Profile
from drivers.registry import profile_with_tables
from drivers.wires.address import parse_address
from plans.run_plan import RunPlan

COOL_AT_LEAST_C = 30.0  # common practice, no source: as cool as a warm room
_COOL_WITHIN_K = 2.0
_PROOF_STEP_K = 1.0
_AFTER_TERMINATOR_S = {"tcp": 0.02, "serial": 0.1}


def compile_script(run: RunPlan, kind: str) -> Script:
    """The park script of a run for a way of `kind` "tcp" or "serial"; raises BadProfile.

    The source comes down by the controller's own ramp at the slowest rate that anything in it asks for;
    without a ramp it is left to cool by itself. No halt starts a fan or a chiller.
    """
    source = run.bench.heat_source
    profile, content = profile_with_tables(source.profile, parse_address(source.address).unit_id)
    maker = _Maker(profile, content, kind)
    parking_c = run.parking_c
    try:
        return Script(
            first=maker.first,
            pause_s=_AFTER_TERMINATOR_S[kind],
            look=maker.look(),
            park=maker.park(parking_c, run.rating.cooling.value),
            safe=tuple(maker.order(step.command, step.value) for step in profile.safe),
            proof=maker.proof(parking_c - _PROOF_STEP_K),
            parking_c=parking_c,
            within_k=_within_k(profile),
            cool_c=max(parking_c + _COOL_WITHIN_K, COOL_AT_LEAST_C),
            held=run.bench.molten is not None,
        )
    except InstrumentError as error:
        raise BadProfile(f"{profile.file}: no park script can be made of it: {error}") from error


def _within_k(profile: Profile) -> float:
    verify = profile.commands["set_point"].verify
    assert verify is not None, "a heat source's set-point is always read back"
    return verify.within


class _Maker:
    def __init__(self, profile: Profile, content: Mapping[str, Any], kind: str) -> None:
        self._profile, self._content, self._kind = profile, content, kind
        link = content["link"]
        self.first = b"" if profile.protocol == "modbus" else link["send_end"].encode("ascii")

    def look(self) -> Look:
        """The profile's status question."""
        question, told = self._profile.questions["status"], self._content["read"]["status"]
        framing = self._profile.framing(self._kind)
        send = framing.wrap(question.body)
        if self._profile.protocol == "modbus":
            pattern, numbers = register_look(told, send, framing)
        else:
            pattern, numbers = text_look(told, self._content["link"])
        return Look(send, pattern, question.within_s, numbers["temperature"], numbers["set_point"])

    def park(self, parking_c: float, cooling_k_per_min: float) -> tuple[Order, ...]:
        """Cooling off, the ramp, then the set-point last, so that a cut command is harmless."""
        commands, orders = self._profile.commands, []
        if "cooling" in commands:
            orders.append(self.order(commands["cooling"], 0.0))
        if "ramp" in commands:
            low, high = commands["ramp"].limits or (cooling_k_per_min, cooling_k_per_min)
            rate = min(max(cooling_k_per_min, low), high)
            orders.append(self.order(commands["ramp"], rate, towards_c=parking_c))
        return (*orders, self.order(commands["set_point"], parking_c))

    def proof(self, temperature_c: float) -> Order | None:
        """A set-point beside the parking temperature, where the controller takes one."""
        command = self._profile.commands["set_point"]
        low, high = command.limits or (temperature_c, temperature_c)
        return self.order(command, temperature_c) if low <= temperature_c <= high else None

    def order(self, command: Command, value: float, towards_c: float | None = None) -> Order:
        """One command of the profile as bytes, with the reply that confirms it."""
        body = command.encode(value)
        framing = self._profile.framing(self._kind)
        send = framing.wrap(body)
        pattern, accept = "", ""
        if command.confirm is not None and self._profile.protocol == "modbus":
            pattern = register_reply(body, send, framing)
        elif command.confirm is not None:
            told = self._content["write"][command.name]
            pattern, accept = text_reply(told, self._content["link"]), told["accept"]
        if command.name == "set_point":
            towards_c = value
        shown = (
            f"{command.name} {'on' if value else 'off'}" if command.switch else f"{command.name} {value:g}"
        )
        return Order(shown, send, pattern, accept, command.within_s, towards_c)
