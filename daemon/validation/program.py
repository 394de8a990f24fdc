"""Which program was validated: version, fingerprint of its source, and what it stands on."""

from __future__ import annotations

import platform
from dataclasses import dataclass
from importlib.metadata import version

from daemon.program import program_version

_LIBRARIES = ("lxml", "matplotlib", "numpy", "pydantic", "pyserial", "PyVISA", "scipy", "typst")


@dataclass(frozen=True, slots=True)
class Program:
    """What a validation holds for: change any of it and it must be done again."""

    version: str
    python: str
    machine: str
    libraries: tuple[tuple[str, str], ...]


def this_program() -> Program:
    """The program that is running now."""
    return Program(
        program_version(),
        platform.python_version(),
        f"{platform.system()} {platform.release()}, {platform.machine()}",
        tuple(_libraries()),
    )


def _libraries() -> list[tuple[str, str]]:
    """Name and version of every library whose numbers or files the results rest on."""
    return [(name, version(name)) for name in _LIBRARIES]
