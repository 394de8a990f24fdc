"""A profile that is not right is refused with the file, the table and the key."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from drivers.errors import BadProfile, InstrumentError
from drivers.profile import load_profile, parse_profile
from drivers.registry import SHIPPED, shipped_profiles

Content = dict[str, Any]


def content_of(name: str) -> Content:
    return tomllib.loads((SHIPPED / f"{name}.toml").read_text("utf-8"))


_DOOR = {"at": 0, "type": "uint16", "bit": 3}


def set_to(*path: str, value: object) -> Callable[[Content], None]:
    def change(content: Content) -> None:
        for key in path[:-1]:
            content = content[key]
        content[path[-1]] = value

    return change


def without(*path: str) -> Callable[[Content], None]:
    def change(content: Content) -> None:
        for key in path[:-1]:
            content = content[key]
        del content[path[-1]]

    return change


@pytest.mark.parametrize("name", shipped_profiles())
def test_every_shipped_profile_loads_and_says_what_happens_when_power_returns(name: str) -> None:
    profile = load_profile(SHIPPED / f"{name}.toml")
    assert profile.id == name
    assert profile.power_return.behaviour


@pytest.mark.parametrize(
    ("name", "change", "complaint"),
    [
        ("ascii-bath", set_to("schema", value=2), "schema"),
        ("ascii-bath", set_to("read", "status", "akk", value="RA"), "[read.status], akk: is not a known key"),
        (
            "modbus-interlocks",
            set_to("write", value={"reset": {"at": 5, "type": "uint16", "on": 1, "off": 0}}),
            "write: has no place here",
        ),
        (
            "modbus-interlocks",
            set_to("read", "states", "fields", "level", "unit", value="degC"),
            "read.states.fields.level: expected out of",
        ),
        ("modbus-interlocks", set_to("read", "states", "fields", "door", value=_DOOR), "level_low (on, off)"),
        ("text-ambient", set_to("read", "conditions", "fields", "pressure", "unit", value="mm"), "in hPa"),
        ("ascii-readout", set_to("profile", "role", value="ambient"), "read.conditions: is missing"),
        ("ascii-readout", set_to("profile", "role", value="oracle"), "[profile], role"),
        ("ascii-bath", set_to("colour", value=1), "colour: is not a known key"),
        ("ascii-bath", without("link", "timeout_s"), "[link], timeout_s: is missing"),
        (
            "ascii-bath",
            set_to("link", "timeout_s", value=float("nan")),
            "[link], timeout_s: expected a number",
        ),
        ("ascii-bath", set_to("link", "timeout_s", value=True), "[link], timeout_s: expected a number"),
        ("ascii-bath", set_to("link", "quiet_s", value=0.2), "must exceed the slowest reply"),
        ("ascii-bath", set_to("link", "frame", "check", value="crc64"), "[link.frame], check"),
        ("ascii-bath", set_to("link", "transports", value=["pigeon"]), "[link], transports"),
        ("ascii-bath", set_to("read", "status", "parse", value="RA(?P<temperature>"), "[read.status], parse"),
        ("ascii-bath", without("read", "status", "fields", "output"), "[read.status], fields"),
        ("ascii-bath", without("write", "set_point", "limits"), "[write.set_point], limits: is missing"),
        (
            "ascii-bath",
            set_to("write", "set_point", "limits", value=[300.0, -40.0]),
            "[write.set_point], limits",
        ),
        ("ascii-bath", set_to("write", "set_point", "ask", value="WS{value}"), "exactly one slot"),
        ("ascii-bath", set_to("write", "set_point", "ask", value="WS{value.real:.3f}"), "exactly one slot"),
        ("ascii-bath", set_to("write", "set_point", "ask", value="WS{value:9999999.3f}"), "exactly one slot"),
        ("ascii-bath", set_to("write", "set_point", "ask", value="WS{value:.3f}{0}"), "exactly one slot"),
        ("ascii-bath", set_to("write", "set_point", "ask", value="WS{value:.3f}\rWH1"), "printable ASCII"),
        ("ascii-bath", set_to("write", "set_point", "verify", "field", value="heat"), "verify], field"),
        ("ascii-bath", without("write", "set_point", "verify"), "always read back"),
        ("ascii-bath", without("safe"), "how it is made safe"),
        (
            "ascii-bath",
            set_to("safe", "steps", value=[{"write": "heater", "value": "of"}]),
            "[safe.steps[0]], value",
        ),
        (
            "ascii-bath",
            set_to("safe", "steps", value=[{"write": "set_point", "value": 900.0}]),
            "[safe.steps[0]], value",
        ),
        ("ascii-bath", set_to("power_return", "tested_on", value="last week"), "[power_return], tested_on"),
        ("ascii-bath", set_to("identity", "expect", value={}), "[identity], expect"),
        ("ascii-bath", set_to("identity", "expect", value={"colour": "red"}), "[identity.expect], colour"),
        (
            "text-bridge",
            set_to("read", "resistance", "fields", "resistance", "unit", value="degC"),
            "'resistance' in ohm",
        ),
        ("text-bridge", set_to("bridge", "channels", value=9), "write.channel.limits"),
        ("text-bridge", without("bridge"), "bridge: is missing"),
        ("text-bridge", set_to("errors", "parse", value="(.*)"), "[errors], parse"),
        ("modbus-block", set_to("read", "status", "count", value=126), "[read.status], count"),
        ("modbus-block", set_to("read", "status", "fields", "ramp", "at", value=10), "outside the block"),
        (
            "modbus-block",
            set_to("read", "status", "fields", "ramp", "type", value="int8"),
            "fields.ramp], type",
        ),
        ("modbus-block", set_to("write", "set_point", "scale", value=0), "[write.set_point], scale"),
        ("modbus-block", set_to("communication_loss", "time", value="clock"), "[communication_loss], time"),
        ("modbus-block", set_to("communication_loss", "time", value="heater"), "it takes s and needs verify"),
        ("modbus-block", without("write", "fall_back", "verify"), "it takes degC and needs verify"),
        ("text-scanner", without("scanner"), "scanner: is missing"),
        ("text-scanner", without("write", "channel", "verify"), "write.channel: needs verify"),
        (
            "text-scanner",
            set_to("scanner", "channels", value=17),
            "write.channel.limits: must include 1 to 17",
        ),
        (
            "text-scanner",
            set_to("read", "closed", "fields", "channel", "unit", value="mA"),
            "'channel' in no",
        ),
        ("text-ratio-bridge", set_to("bridge", "channels", value=2), "'channel' in no unit"),
        (
            "text-ratio-bridge",
            set_to("read", "resistance", "fields", "ratio", "unit", value="ohm"),
            "either 'resistance' in ohm or 'ratio' in no unit",
        ),
        (
            "text-ratio-bridge",
            set_to("read", "resistance", "timeout_s", value=8.0),
            "longest integration, 8 s",
        ),
        (
            "text-ratio-bridge",
            set_to("write", "range", "unit", value="mA"),
            "write.range: takes a number in ohm",
        ),
        ("modbus-block", set_to("link", "unit_id", value=0), "[link], unit_id"),
    ],
)
def test_a_fault_in_a_profile_is_named_where_it_stands(
    name: str, change: Callable[[Content], None], complaint: str
) -> None:
    content = content_of(name)
    change(content)
    with pytest.raises(BadProfile) as caught:
        parse_profile(content, "mine.toml")
    assert str(caught.value).startswith("mine.toml")
    assert complaint in str(caught.value)


def every_leaf(content: Content, path: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    leaves = []
    for key, value in content.items():
        leaves += every_leaf(value, (*path, key)) if isinstance(value, dict) and value else [(*path, key)]
    return leaves


@pytest.mark.parametrize("name", shipped_profiles())
@pytest.mark.parametrize(
    "junk", [None, [], {}, "", "é", -1, 1e308, float("nan"), [1], {"a": {"b": 1}}], ids=repr
)
def test_junk_in_any_key_is_refused_in_words_or_harmless(name: str, junk: object) -> None:
    for path in every_leaf(content_of(name)):
        content = content_of(name)
        set_to(*path, value=junk)(content)
        try:
            parse_profile(content, "mine.toml")
        except BadProfile as error:
            assert str(error).startswith("mine.toml")


@pytest.mark.parametrize(
    "text", ["", "schema = ", "\x00", "[" * 5000, "schema = 1", "schema = " + 5000 * "9"]
)
def test_a_file_that_is_no_profile_is_refused_in_words(tmp_path: Path, text: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(text)
    with pytest.raises(BadProfile, match=r"mine\.toml"):
        load_profile(path)


def test_a_file_that_is_not_there_or_not_text_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe")
    for path in (tmp_path / "absent.toml", tmp_path, tmp_path / "bytes.toml"):
        with pytest.raises(BadProfile, match=path.name):
            load_profile(path)


@pytest.mark.parametrize("name", shipped_profiles())
def test_nothing_but_the_profile_s_own_text_and_a_number_is_ever_sent(name: str) -> None:
    """Whatever value is asked for, the command is refused or has the shape of the profile's own text."""
    profile = load_profile(SHIPPED / f"{name}.toml")
    for command in profile.commands.values():
        if command.switch or profile.protocol != "text":
            continue
        for value in (0.0, -0.0, 1e-300, 123456.789, -1e15, 1e300):
            try:
                sent = command.encode(value)
            except InstrumentError:
                continue
            assert re.fullmatch(rb"[A-Z:]+[ (@]*[-+]?[0-9.]+(E[-+][0-9]+)?[)]?", sent)
