"""Loads an instrument profile: a TOML file that says how to ask, how to parse and what is allowed.

A profile carries no program: commands are fixed text or registers with one slot for a checked number.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from types import ModuleType
from typing import Any

from drivers import profile_registers, profile_text
from drivers.errors import BadProfile, InstrumentError
from drivers.profile_fields import read_unit
from drivers.profile_model import (
    BridgeFacts,
    Command,
    CommunicationLoss,
    Identity,
    LinkSettings,
    PowerReturn,
    Profile,
    Question,
    SafeStep,
    ScannerFacts,
    SerialSettings,
    Verify,
)
from drivers.profile_rules import check_roles
from drivers.profile_table import Table

ROLES = ("heat-source", "bridge", "scanner", "readout", "ambient", "interlocks")
PROTOCOLS = ("text", "modbus")
TRANSPORTS = ("simulated", "tcp", "serial", "visa")
BEHAVIOURS = ("resumes", "stays off", "no heat", "unknown")
MAX_FILE_BYTES = 65536


def load_profile(path: Path, unit_id: int | None = None) -> Profile:
    """The profile in a TOML file; raises BadProfile with file, table, key and what was expected.

    `unit_id` takes the place of the one in the file: several like instruments on one port differ in it.
    """
    try:
        with path.open("rb") as file:
            content = file.read(MAX_FILE_BYTES + 1)
        if len(content) > MAX_FILE_BYTES:
            raise BadProfile(f"{path.name}: larger than {MAX_FILE_BYTES} bytes; this is no profile")
        tables = tomllib.loads(content.decode("utf-8"))
        return parse_profile(tables if unit_id is None else _for_unit(tables, unit_id), path.name)
    except OSError as error:
        raise BadProfile(f"profile {path.name}: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise BadProfile(f"{path.name}: is not UTF-8 text") from error
    except (ValueError, RecursionError) as error:
        raise BadProfile(f"{path.name}: is not TOML: {error}") from error


def parse_profile(content: Mapping[str, Any], file: str) -> Profile:
    """The profile in TOML content already read; `file` names it in messages."""
    top = Table(content, file)
    if top.whole("schema", 0, 10**9) != 1:
        raise top.fault("schema", "this version reads schema 1")
    head = top.table("profile")
    protocol = head.choice("protocol", PROTOCOLS)
    family = profile_text if protocol == "text" else profile_registers
    link_table = top.table("link")
    link = _read_link(link_table, family)
    questions = _read_questions(top.table("read", {}), family, link.timeout_s)
    commands = _read_commands(top.table("write", {}), family, link.timeout_s, questions)
    profile = Profile(
        id=head.text("id"),
        title=head.text("title"),
        role=head.choice("role", ROLES),
        protocol=protocol,
        file=file,
        link=link,
        framing=family.read_framing(link_table),
        identity=_read_identity(top.table("identity"), family, link.timeout_s),
        errors=(
            profile_text.read_error_queue(top.table("errors"), link.timeout_s)
            if protocol == "text" and top.has("errors")
            else None
        ),
        questions=questions,
        commands=commands,
        safe=_read_safe(top.table("safe", {}), commands),
        power_return=_read_power_return(top.table("power_return")),
        communication_loss=_read_communication_loss(top, commands),
        bridge=_read_bridge(top),
        scanner=_read_scanner(top),
        resolution_k=_read_resolution(top),
    )
    for table in (link_table, head, top):
        table.finish()
    check_roles(profile, top)
    return profile


def _for_unit(tables: dict[str, Any], unit_id: int) -> dict[str, Any]:
    if not isinstance(link := tables.get("link"), dict) or "unit_id" not in link:
        raise BadProfile(
            "a unit in the address is for Modbus; elsewhere the profile's frame says which unit is meant"
        )
    return tables | {"link": link | {"unit_id": unit_id}}


def _read_link(table: Table, family: ModuleType) -> LinkSettings:
    transports = table.raw("transports", "a list of transports")
    if not isinstance(transports, list) or not transports or not set(transports) <= set(TRANSPORTS):
        raise table.fault("transports", f"expected a list out of {', '.join(TRANSPORTS)}")
    timeout_s = table.number("timeout_s", 0.01, 60.0)
    quiet_s = table.number("quiet_s", 0.01, 120.0)
    if quiet_s <= timeout_s:
        raise table.fault("quiet_s", f"must exceed the slowest reply, here timeout_s = {timeout_s:g}")
    return LinkSettings(
        tuple(transports),
        timeout_s,
        quiet_s,
        table.number("gap_s", 0.0, 1.0, 0.0),
        table.choice("resync", ("reopen", "drain"), "drain") == "drain",
        table.flag("half_duplex", family is profile_registers),
        table.terminator("receive_end") if family is profile_text else b"",
        _read_serial(table.table("serial", {})),
    )


def _read_serial(table: Table) -> SerialSettings:
    settings = SerialSettings(
        table.whole("baud", 50, 4_000_000, 9600),
        table.whole("bits", 7, 8, 8),
        table.choice("parity", ("N", "E", "O"), "N"),
        table.whole("stop", 1, 2, 1),
    )
    table.finish()
    return settings


def _read_questions(tables: Table, family: ModuleType, timeout_s: float) -> dict[str, Question]:
    questions = {}
    for name in tables.names():
        table = tables.table(name)
        body, decode, units, flags = family.read_question(table)
        questions[name] = Question(
            name,
            body,
            decode,
            units,
            flags,
            table.number("timeout_s", 0.01, 120.0, timeout_s),
            table.number("earliest_s", 0.0, 60.0, 0.0),
            table.whole("discard", 0, 100, 0),
        )
        table.finish()
    return questions


def _read_commands(
    tables: Table, family: ModuleType, timeout_s: float, questions: Mapping[str, Question]
) -> dict[str, Command]:
    commands = {}
    for name in tables.names():
        table = tables.table(name)
        commands[name] = _read_command(name, table, family, timeout_s, questions)
        table.finish()
    return commands


def _read_command(
    name: str, table: Table, family: ModuleType, timeout_s: float, questions: Mapping[str, Question]
) -> Command:
    switch = table.has("on") or table.has("off")
    limits = table.span("limits")
    if not switch and limits is None:
        raise table.fault("limits", "is missing; expected [low, high]: no number is sent without limits")
    scale, offset = table.number("scale", -1e12, 1e12, 1.0), table.number("offset", -1e12, 1e12, 0.0)
    if scale == 0.0:
        raise table.fault("scale", "must not be zero")
    return Command(
        name,
        read_unit(table),
        switch,
        limits,
        family.read_encoder(table, switch, scale, offset),
        family.read_confirm(table),
        _read_verify(table, switch, questions),
        table.number("timeout_s", 0.01, 120.0, timeout_s),
    )


def _read_verify(table: Table, switch: bool, questions: Mapping[str, Question]) -> Verify | None:
    if not table.has("verify"):
        return None
    verify = table.table("verify")
    question = questions[verify.choice("read", questions)]
    field = verify.choice("field", question.flags if switch else question.units)
    within = 0.0 if switch else verify.number("within", 0.0, 1e6)
    verify.finish()
    return Verify(question.name, field, within)


def _read_identity(table: Table, family: ModuleType, timeout_s: float) -> Identity:
    body, decode, names = family.read_identity(table)
    expect_table = table.table("expect")
    expect = {key: str(expect_table.raw(key, "text or a number")) for key in expect_table.names()}
    for key in expect:
        if key not in names:
            raise expect_table.fault(key, f"is not a part of the identity; parts: {', '.join(sorted(names))}")
    if not expect:
        raise table.fault("expect", "must name at least one part, so that a wrong instrument is refused")
    identity = Identity(body, decode, expect, table.number("timeout_s", 0.01, 120.0, timeout_s))
    table.finish()
    return identity


def _read_safe(table: Table, commands: Mapping[str, Command]) -> tuple[SafeStep, ...]:
    steps = []
    for step in table.tables("steps"):
        command = commands[step.choice("write", commands)]
        if command.switch:
            value = float(step.choice("value", ("on", "off")) == "on")
        else:
            low, high = command.limits or (0.0, 0.0)
            value = step.number("value", low, high)
        try:
            command.encode(value)
        except InstrumentError as error:
            raise step.fault("value", str(error)) from error
        step.finish()
        steps.append(SafeStep(command, value))
    table.finish()
    return tuple(steps)


def _read_power_return(table: Table) -> PowerReturn:
    behaviour = table.choice("behaviour", BEHAVIOURS)
    tested_on = table.raw("tested_on", "a date") if table.has("tested_on") else None
    if tested_on is not None and type(tested_on) is not date:
        raise table.fault("tested_on", f"expected a date such as 2025-03-14, found {tested_on!r}")
    table.finish()
    return PowerReturn(behaviour, tested_on)


def _read_communication_loss(top: Table, commands: Mapping[str, Command]) -> CommunicationLoss | None:
    if not top.has("communication_loss"):
        return None
    table = top.table("communication_loss")
    loss = CommunicationLoss(table.choice("time", commands), table.choice("set_point", commands))
    table.finish()
    return loss


def _read_bridge(top: Table) -> BridgeFacts | None:
    if not top.has("bridge"):
        return None
    table = top.table("bridge")
    facts = BridgeFacts(
        table.whole("channels", 1, 1000),
        table.numbers("currents_ma", 1e-6, 1000.0),
        table.number("integration_s", 0.0, 600.0),
        table.number("settling_s", 0.0, 600.0),
        table.flag("reversal", False),
    )
    table.finish()
    return facts


def _read_scanner(top: Table) -> ScannerFacts | None:
    if not top.has("scanner"):
        return None
    table = top.table("scanner")
    facts = ScannerFacts(table.whole("channels", 1, 1000), table.number("settling_s", 0.0, 600.0))
    table.finish()
    return facts


def _read_resolution(top: Table) -> float:
    if not top.has("heat_source"):
        return 0.0
    table = top.table("heat_source")
    resolution_k = table.number("resolution_k", 1e-6, 10.0)
    table.finish()
    return resolution_k
