"""Every key, command and field that profiles are asked for stands in the documentation, and no other does."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from drivers.instrument import UPTIME
from drivers.profile_rules import CHANNEL, HEAT_SOURCE_SWITCHES, MONITORED, RATIO, REVERSED, SETTINGS

ROOT = Path(__file__).resolve().parents[2]
ASKS = {
    "text", "number", "whole", "flag", "choice", "raw", "table", "tables", "span", "numbers", "pattern",
    "terminator", "has",
}  # fmt: skip


def known_keys() -> set[str]:
    """The keys that the code asks a table for."""
    return {
        node.args[0].value
        for path in sorted((ROOT / "drivers").glob("profile*.py"))
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in ASKS
        if node.args and isinstance(node.args[0], ast.Constant) and isinstance(node.args[0].value, str)
    }


def known_names() -> set[str]:
    """The commands, questions and fields that the drivers look for, as they are written in the code."""
    found = {CHANNEL, RATIO, REVERSED, UPTIME, *SETTINGS, *HEAT_SOURCE_SWITCHES}
    for question, units, flags, _ in MONITORED.values():
        found |= {question, *units, *flags} - {"*"}
    for driver in ("heat_source", "bridge", "scanner", "monitors", "instrument"):
        found |= set(_looked_for(ast.parse((ROOT / "drivers" / f"{driver}.py").read_text("utf-8"))))
    return found


def _looked_for(tree: ast.AST) -> Iterator[str]:
    """`command("ramp")`, `_flag(values, "stirrer")`, `"output" in units`, `questions["status"]`."""
    for node in ast.walk(tree):
        match node:
            case ast.Call(func=ast.Name(id="_number" | "_flag"), args=[_, ast.Constant(value=str(name))]):
                yield name
            case ast.Call(func=ast.Attribute(attr="command"), args=[ast.Constant(value=str(name))]):
                yield name
            case ast.Call(func=ast.Attribute(attr="reading"), args=[_, _, ast.Constant(value=str(name))]):
                yield name
            case ast.Compare(left=ast.Constant(value=str(name)), ops=[ast.In()]):
                yield name
            case ast.Subscript(value=ast.Name(id="values"), slice=ast.Constant(value=str(name))):
                yield name
            case ast.Subscript(
                value=ast.Attribute(attr="questions" | "commands"), slice=ast.Constant(value=str(name))
            ):
                yield name


def table_of_keys() -> list[list[str]]:
    """The rows of the documentation's table, cell by cell."""
    section = (ROOT / "DEVELOPERS.md").read_text("utf-8").split("## Profiles\n")[1].split("\n## ")[0]
    rows = [line.strip("| ").split(" | ") for line in section.splitlines() if line.startswith("| ")]
    return rows[2:]


def quoted(text: str) -> set[str]:
    return {part for name in re.findall(r"`([\w.]+)`", text) for part in name.split(".")}


def test_every_key_of_a_profile_is_documented() -> None:
    assert len(known_keys()) > 60
    assert known_keys() - {key for row in table_of_keys() for key in quoted(" ".join(row))} == set()


def test_every_command_and_field_that_a_role_looks_for_is_documented() -> None:
    names = known_names()
    assert names >= {"status", "ramp", "cooling", "level_low", "resistance", "ratio", "closed", "humidity"}
    assert names - {key for row in table_of_keys() for key in quoted(" ".join(row))} == set()


def test_no_key_is_documented_that_nobody_reads() -> None:
    assert {key for row in table_of_keys() for key in quoted(row[1])} - known_keys() - known_names() == set()


def test_every_row_says_what_its_keys_mean() -> None:
    assert all(len(row) == 3 and row[2] for row in table_of_keys())
