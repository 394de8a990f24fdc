"""Printing for people and for programs."""

from __future__ import annotations

import json
import shutil
import sys
import textwrap
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from daemon.cli import EXIT_REFUSED


def say(lines: Iterable[str], hang: int = 0) -> None:
    """Lines of words; in a terminal broken between words, what follows set in by `hang`."""
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else 0
    for line in lines:
        print(_broken(line, width, hang) if 0 < width < len(line) else line)


def _broken(line: str, width: int, hang: int) -> str:
    inset = " " * hang
    return textwrap.fill(line, width, subsequent_indent=inset, break_long_words=False, break_on_hyphens=False)


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


def in_words(error: Exception) -> str:
    """An error as a sentence; what the system says of a file, without its number."""
    if not isinstance(error, OSError) or error.strerror is None:
        return str(error)
    if isinstance(error, FileExistsError):
        return f"{error.filename}: there is such a file already, and nothing is overwritten; name another."
    return f"{error.filename}: {error.strerror.lower()}."


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
