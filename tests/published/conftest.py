"""Published figures as data files; numbers are kept as text there so that no digit is lost."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import daemon.validation

_DATA = Path(__file__).parent / "data"
_CARRIED = Path(daemon.validation.__file__).parent / "data"
"""Figures that every copy of the program is checked against in the laboratory too."""


@pytest.fixture(scope="session")
def published() -> Callable[[str], Any]:
    """Read a data file: TOML as a dict, CSV as a list of dicts by column."""

    def read(name: str) -> Any:
        text = next(path for place in (_CARRIED, _DATA) if (path := place / name).is_file()).read_text(
            "utf-8"
        )
        if name.endswith(".toml"):
            return tomllib.loads(text)
        return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))

    return read
