"""Every key that the reader of profiles knows stands in the documentation, and no other does."""

from __future__ import annotations

import ast
import re
from pathlib import Path

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


def table_of_keys() -> list[list[str]]:
    """The rows of the documentation's table, cell by cell."""
    section = (ROOT / "DEVELOPERS.md").read_text("utf-8").split("## Profiles\n")[1].split("\n## ")[0]
    rows = [line.strip("| ").split(" | ") for line in section.splitlines() if line.startswith("| ")]
    return rows[2:]


def quoted(text: str) -> set[str]:
    return set(re.findall(r"`(\w+)`", text))


def test_every_key_of_a_profile_is_documented() -> None:
    assert len(known_keys()) > 60
    assert known_keys() - {key for row in table_of_keys() for key in quoted(" ".join(row))} == set()


def test_no_key_is_documented_that_nobody_reads() -> None:
    assert {key for row in table_of_keys() for key in quoted(row[1])} - known_keys() == set()


def test_every_row_says_what_its_keys_mean() -> None:
    assert all(len(row) == 3 and row[2] for row in table_of_keys())
