"""From a file to a plain tree of tables, lists and values, its limits checked before the models see it."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

from plans.errors import PlanError, Problem, shown
from plans.plan import MOST_POINTS

LARGEST_BYTES = 64 * 1024
DEEPEST = 8
MOST_DIGITS = 15
MOST_ENTRIES = MOST_POINTS


def read_text(path: Path, name: str) -> str:
    """The file's text; raises PlanError when it is missing, no file, too large or not UTF-8."""
    try:
        if path.is_dir():
            raise refused(name, "this is a folder; give the path of the TOML file in it.")
        if not path.exists():
            raise refused(name, f"there is no such file ({path}). Check the name and the folder.")
        if not path.is_file():
            raise refused(name, "this is a device or a pipe, not a file.")
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as fault:
        raise refused(name, f"the file cannot be read: {_cause(fault)}.") from None
    return decode(data, name)


def decode(data: bytes, name: str) -> str:
    """Bytes as UTF-8 text of at most 64 KiB; raises PlanError."""
    if len(data) > LARGEST_BYTES:
        raise refused(name, _too_large())
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data[: fault.start].count(b"\n") + 1
        raise refused(
            name, f"line {line} is not UTF-8 text (byte 0x{data[fault.start]:02X}). Save the file as UTF-8."
        ) from None


def parse_tree(text: str, name: str) -> dict[str, Any]:
    """TOML text as a tree with tuples for lists; raises PlanError with every offending value."""
    if len(text.encode("utf-8", "surrogatepass")) > LARGEST_BYTES:
        raise refused(name, _too_large())
    try:
        raw = tomllib.loads(text)
    except RecursionError:
        raise refused(name, _too_deep()) from None
    except tomllib.TOMLDecodeError as fault:
        raise refused(name, f"not valid TOML: {_plain(str(fault))}") from None
    except ValueError:
        raise refused(
            name, f"a number, date or time in it cannot be read. Numbers have {_digits()}."
        ) from None
    problems: list[Problem] = []
    tree = _walk(raw, (), name, problems)
    if problems:
        raise PlanError(problems)
    assert isinstance(tree, dict)
    return tree


def place(path: tuple[str | int, ...], is_table: bool = False) -> str:
    """A path in the tree as a person finds it: '[[points]] 4, temperature_c' or '[zero] last'."""
    headings: list[str] = []
    names: list[str] = []
    tail: list[str] = []
    for step in path:
        if isinstance(step, int):
            headings.append(f"[[{'.'.join(names)}]] {step + 1}")
            tail = []
        else:
            names.append(step)
            tail.append(step)
    if headings:
        return ", ".join([*headings, ".".join(tail)] if tail else headings)
    if is_table and tail:
        return f"[{'.'.join(tail)}]"
    return f"[{'.'.join(tail[:-1])}] {tail[-1]}" if len(tail) > 1 else "".join(tail)


def refused(name: str, sentence: str) -> PlanError:
    """A PlanError about a file as a whole."""
    return PlanError([Problem(name, "", "", sentence)])


def _walk(value: Any, path: tuple[str | int, ...], name: str, problems: list[Problem]) -> Any:
    sentence = _objection(value, len(path))
    if sentence:
        problems.append(Problem(name, place(path[:DEEPEST]), shown(value), sentence))
        return None
    if isinstance(value, dict):
        return {key: _walk(entry, (*path, key), name, problems) for key, entry in value.items()}
    if isinstance(value, list):
        return tuple(_walk(entry, (*path, index), name, problems) for index, entry in enumerate(value))
    return value


def _objection(value: Any, depth: int) -> str:
    if isinstance(value, dict | list) and depth > DEEPEST:
        return _too_deep()
    if isinstance(value, list) and len(value) > MOST_ENTRIES:
        return (
            f"{len(value)} entries; a list, the points included, holds at most {MOST_ENTRIES}. Split the run."
        )
    if isinstance(value, float) and not math.isfinite(value):
        return "not a usable number; write an ordinary one (nan, inf and overflows like 1e999 are refused)."
    if isinstance(value, int) and abs(value) >= 10**MOST_DIGITS:
        return f"this number is absurdly long; numbers have {_digits()}."
    return ""


def _plain(fault: str) -> str:
    if fault.startswith("Cannot overwrite a value") or fault.startswith("Cannot declare"):
        return f"the same key or table stands there twice ({fault}). Keep one."
    return f"{fault}. Check quotes, brackets and the = sign in that line."


def _cause(fault: OSError | ValueError) -> str:
    return (
        (fault.strerror or "unknown cause").lower()
        if isinstance(fault, OSError)
        else "its name is not usable"
    )


def _too_large() -> str:
    return (
        f"larger than {LARGEST_BYTES // 1024} KiB; {MOST_POINTS} points fit in easily. Is it the right file?"
    )


def _too_deep() -> str:
    return f"tables or lists nested more than {DEEPEST} deep; no plan needs that. Is it the right file?"


def _digits() -> str:
    return f"at most {MOST_DIGITS} digits"
