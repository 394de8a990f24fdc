"""A profile that a bench names as a file lies beside the bench file, from wherever the program is started."""

from __future__ import annotations

import tomllib
from pathlib import Path

import tomlkit

TABLES = ("heat_source", "bridge", "scanner", "readout", "ambient", "interlocks")


def with_whole_paths(text: str, folder: Path) -> str:
    """The bench's text with such profiles as absolute paths; any other text comes back as it was."""
    try:
        tree = tomllib.loads(text)
    except (ValueError, RecursionError):
        return text  # said with its line where the text is judged
    named = {name: _file_named(tree.get(name)) for name in TABLES}
    found = {name: file for name, file in named.items() if file}
    if not found:
        return text
    bench = tomlkit.parse(text)
    for name, file in found.items():
        bench[name]["profile"] = str(folder.resolve() / file)
    return tomlkit.dumps(bench)


def _file_named(table: object) -> str:
    profile = table.get("profile") if isinstance(table, dict) else None
    return profile if isinstance(profile, str) and profile.endswith(".toml") else ""
