"""Printing for people and for programs."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from daemon.cli import EXIT_REFUSED


def say_json(document: Any) -> None:
    """One JSON document on standard output."""
    print(json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False))


def refuse(message: str, *, as_json: bool) -> int:
    """Say why nothing was done; returns exit code 2."""
    if as_json:
        say_json({"refused": True, "message": message})
    else:
        print(message, file=sys.stderr)
    return EXIT_REFUSED


def not_drawn(stem: Path, error: OSError) -> str:
    """Why there is no plot."""
    return f"REFUSED: --plot {stem}: {(error.strerror or 'cannot be written').lower()}; name another place."


def hours(seconds: float) -> str:
    """A duration as people say it: 13 h 52 min."""
    minutes = round(seconds / 60.0)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"


def free_path(folder: Path, stem: str, suffix: str) -> Path:
    """A file name in `folder` that is not taken: stem, stem-2, stem-3 …"""
    path, number = folder / f"{stem}{suffix}", 1
    while path.exists():
        number += 1
        path = folder / f"{stem}-{number}{suffix}"
    return path
