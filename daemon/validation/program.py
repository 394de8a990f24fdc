"""Which program was validated: version, digest of its own files, and what it stands on."""

from __future__ import annotations

import hashlib
import platform
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import daemon
import drivers
import plans
import simulators
from daemon.review.acts import program_version

_LIBRARIES = ("lxml", "matplotlib", "numpy", "pydantic", "pyserial", "PyVISA", "scipy", "typst")
_SUFFIXES = (".py", ".toml", ".css", ".csv", ".typ", ".js")


@dataclass(frozen=True, slots=True)
class Program:
    """What a validation holds for: change any of it and it must be done again."""

    version: str
    digest: str
    python: str
    machine: str
    libraries: tuple[tuple[str, str], ...]


def this_program() -> Program:
    """The program that is running now."""
    return Program(
        program_version(),
        _digest(),
        platform.python_version(),
        f"{platform.system()} {platform.release()}, {platform.machine()}",
        tuple(_libraries()),
    )


def _digest() -> str:
    """SHA-256 over names and contents of all files of the packages."""
    total = hashlib.sha256()
    for package in (daemon, drivers, plans, simulators):
        root = Path(str(package.__file__)).parent
        for path in sorted(p for p in root.rglob("*") if p.suffix in _SUFFIXES):
            content = hashlib.sha256(path.read_bytes()).hexdigest()
            total.update(f"{package.__name__}/{path.relative_to(root).as_posix()} {content}\n".encode())
    return total.hexdigest()


def _libraries() -> list[tuple[str, str]]:
    """Name and version of every library whose numbers or files the results rest on."""
    return [(name, version(name)) for name in _LIBRARIES]
