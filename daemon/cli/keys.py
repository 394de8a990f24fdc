"""`ohmvigil keys`: every key of the files a person writes, straight from the code that reads them."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any

from pydantic import BaseModel

from daemon.cli import EXIT_DONE
from daemon.cli.say import say_json
from daemon.results.certificate.papers import Laboratory, Order
from plans.bench import Bench
from plans.lab import Lab
from plans.plan import Plan
from plans.register import Register
from plans.settings import BLOCK, COOL_BATH, FURNACE, HOT_BATH

FILES: dict[str, type[BaseModel]] = {
    "plan": Plan,
    "register": Register,
    "bench": Bench,
    "lab": Lab,
    "laboratory": Laboratory,
    "order": Order,
}
UNITS = (
    "A name ends in its unit: _c °C, _k K, _mk mK, _k_per_min K/min, _ma mA, _ohm Ω, _mohm MΩ, _mm mm, "
    "_s s, _ppm parts in a million. An unknown key is refused."
)
HEADING_USUAL = "What is usual where a plan says nothing (common practice, no source):"
USUAL = {"bath up to 100 °C": COOL_BATH, "bath above": HOT_BATH, "block": BLOCK, "furnace": FURNACE}
KINDS = {
    "string": "text",
    "number": "number",
    "integer": "whole number",
    "boolean": "true or false",
    "object": "table",
    "array": "list",
}


@dataclass(frozen=True)
class Key:
    """One key: its name, what it takes and what stands in for it when it is left out."""

    name: str
    takes: str
    left_out: str


@dataclass(frozen=True)
class KeyTable:
    """One TOML table as it is headed in the file; "" is the top of the file."""

    heading: str
    about: str
    keys: tuple[Key, ...]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument(
        "file", nargs="?", choices=FILES, help="only this kind of file; with --json its JSON Schema"
    )
    parser.add_argument("--markdown", action="store_true", help="as the tables of plans/keys.md")


def run(args: argparse.Namespace) -> int:
    """List the keys."""
    wanted = FILES if args.file is None else {args.file: FILES[args.file]}
    if args.json:
        say_json({name: model.model_json_schema() for name, model in wanted.items()})
    elif args.markdown:
        print(markdown(wanted))
    else:
        print("\n".join(_lines(wanted)))
    return EXIT_DONE


def _lines(wanted: dict[str, type[BaseModel]]) -> Iterator[str]:
    yield f"{UNITS}\n"
    for name, model in wanted.items():
        yield f"{name.upper()} FILE\n"
        for table in tables(model):
            yield table.heading or "at the top"
            if table.about:
                yield f"    {table.about}"
            width = max(len(key.name) for key in table.keys)
            yield from (f"    {key.name:<{width}}  {key.takes}; {key.left_out}" for key in table.keys)
            yield ""
        if name == "plan":
            yield f"{HEADING_USUAL}\n"
            yield from ("    " + "  ".join(f"{cell:<17}" for cell in row).rstrip() for row in _usual())
            yield ""


def markdown(wanted: dict[str, type[BaseModel]]) -> str:
    """The keys of all files as one document."""
    lines = [
        "# Keys of the files you write",
        "",
        f"{UNITS} Written by `ohmvigil keys --markdown`; a test compares it.",
    ]
    for name, model in wanted.items():
        lines += ["", f"## {name}"]
        for table in tables(model):
            lines += ["", f"**{f'`{table.heading}`' if table.heading else 'At the top'}** {table.about}", ""]
            lines += ["| key | takes | left out |", "| --- | --- | --- |"]
            lines += [f"| `{key.name}` | {key.takes} | {key.left_out} |" for key in table.keys]
        if name == "plan":
            lines += ["", HEADING_USUAL, ""]
            first, *others = (f"| {' | '.join(row)} |" for row in _usual())
            lines += [first, "| --- " * len(fields(COOL_BATH)) + "| --- |", *others]
    return "\n".join(lines)


def _usual() -> Iterator[tuple[str, ...]]:
    names = [field.name for field in fields(COOL_BATH)]
    yield ("source", *names)
    for kind, figures in USUAL.items():
        yield (kind, *(_plain(getattr(figures, name)) for name in names))


def tables(model: type[BaseModel]) -> list[KeyTable]:
    """The tables of a file in the order they are written, the top of the file first."""
    schema = model.model_json_schema()
    return list(_tables(schema, "", schema["$defs"]))


def _tables(schema: dict[str, Any], path: str, known: dict[str, Any]) -> Iterator[KeyTable]:
    keys: list[Key] = []
    below: list[tuple[str, dict[str, Any], bool]] = []
    for name, field in schema["properties"].items():
        inner, how_many = _table_of(field, known)
        if inner is None:
            left_out = _left_out(name in schema.get("required", ()), field)
            keys.append(Key(name, _takes(_meant(field, known), known), left_out))
        else:
            below.append(
                (
                    f"{path}.{name}".lstrip(".") + (".NAME" if how_many == "named" else ""),
                    inner,
                    how_many == "list",
                )
            )
    heading = f"[{path}]" if path else ""
    if keys:
        yield KeyTable(heading, _about(schema), tuple(keys))
    for deeper, inner, many in below:
        for number, table in enumerate(_tables(inner, deeper, known)):
            own = number == 0 and many
            yield KeyTable(f"[{table.heading}]", table.about, table.keys) if own else table


def _table_of(field: dict[str, Any], known: dict[str, Any]) -> tuple[dict[str, Any] | None, str]:
    """The table a key opens, and whether once, as a list, or under names; (None, "") for a plain key."""
    meant = _meant(field, known)
    if "properties" in meant:
        return meant, "once"
    for inner, how_many in ((meant.get("items"), "list"), (_values_of(meant), "named")):
        if isinstance(inner, dict) and "properties" in (found := _meant(inner, known)):
            return found, how_many
    return None, ""


def _values_of(field: dict[str, Any]) -> dict[str, Any] | None:
    """What stands under the names of a table whose names are free."""
    patterns = list(field.get("patternProperties", {}).values())
    found = patterns[0] if patterns else field.get("additionalProperties")
    return found if isinstance(found, dict) else None


def _meant(field: dict[str, Any], known: dict[str, Any]) -> dict[str, Any]:
    """The definition behind a reference, or behind "this or nothing"."""
    if "$ref" in field:
        return _meant(known[field["$ref"].rsplit("/", 1)[-1]], known)
    choices = [one for one in field.get("anyOf", ()) if one.get("type") != "null"]
    return _meant(choices[0], known) if len(choices) == 1 else field


def _takes(field: dict[str, Any], known: dict[str, Any]) -> str:
    if "enum" in field:
        return ", ".join(f'"{value}"' for value in field["enum"])
    if "anyOf" in field:
        return " or ".join(_takes(_meant(one, known), known) for one in field["anyOf"])
    if field.get("format") in ("date", "date-time"):
        return "date" if field["format"] == "date" else "date and time"
    kind = KINDS[field["type"]]
    if field["type"] == "array" and isinstance(field.get("items"), dict):
        kind = f"list of: {_takes(_meant(field['items'], known), known)}"
    if (inner := _values_of(field)) is not None:
        kind = f"table, under each name: {_takes(_meant(inner, known), known)}"
    low = field.get("minimum", field.get("exclusiveMinimum"))
    high = field.get("maximum", field.get("exclusiveMaximum"))
    if low is None or high is None:
        return kind
    above = "above " if "exclusiveMinimum" in field else ""
    return f"{kind}, {above}{_plain(low)} to {_plain(high)}"


def _left_out(required: bool, field: dict[str, Any]) -> str:
    if required:
        return "must be given"
    default: str | float | None = field.get("default")
    if isinstance(default, bool):
        return str(default).lower()
    if default in (None, "", [], {}):
        return "may be left out"
    return f'"{default}"' if isinstance(default, str) else _plain(default)


def _plain(number: float) -> str:
    return format(number, ".10g")


def _about(schema: dict[str, Any]) -> str:
    """What the code says of a table, without its heading, which stands above it already."""
    said = " ".join(schema.get("description", "").split())
    bare = re.sub(r"^(\[[\w\[\].]+\]( of a bench file)?|\w+\.toml)[.:;] ?", "", said)
    return bare[:1].upper() + bare[1:]
