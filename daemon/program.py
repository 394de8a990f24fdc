"""Which program this is: its version, a fingerprint of its own source, and what it stands on."""

from __future__ import annotations

import hashlib
import platform
import sys
from dataclasses import dataclass
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

_PARTS = ("daemon", "drivers", "plans", "simulators")
_ROOT = Path(__file__).resolve().parents[1]
_KINDS = frozenset({".py", ".toml", ".typ", ".css", ".js"})
_LIBRARIES = ("lxml", "matplotlib", "numpy", "pydantic", "pyserial", "PyVISA", "scipy", "typst")


@dataclass(frozen=True, slots=True)
class Program:
    """The program with everything its numbers rest on: change any of it and it is validated again."""

    version: str
    python: str
    machine: str
    libraries: tuple[tuple[str, str], ...]


@cache
def this_program() -> Program:
    """The program that is running now."""
    return Program(
        program_version(),
        platform.python_version(),
        f"{platform.system()} {platform.release()}, {platform.machine()}",
        tuple((name, version(name)) for name in _LIBRARIES),
    )


@cache
def program_version() -> str:
    """Version and source, such as "0.1.0, source 1f0c9a3b7d21": two that differ are not the same program."""
    try:
        released = version("ohmvigil")
    except PackageNotFoundError:
        released = "a clone"
    return f"{released}, source {fingerprint(_ROOT)}"


def to_install(extra: str) -> str:
    """The command that adds the packages of an extra to this copy of the program."""
    here = f"-e '{_ROOT}[{extra}]'" if (_ROOT / "pyproject.toml").is_file() else f"'ohmvigil[{extra}]'"
    return f"{sys.executable} -m pip install {here}"


def fingerprint(root: Path) -> str:
    """Twelve hexadecimal digits of the SHA-256 over names and contents of everything that has an effect."""
    whole = hashlib.sha256()
    files = (path for part in _PARTS for path in (root / part).rglob("*") if path.suffix in _KINDS)
    for path in sorted(files):
        whole.update(f"{path.relative_to(root).as_posix()}\n".encode())
        whole.update(hashlib.sha256(path.read_bytes()).digest())
    return whole.hexdigest()[:12]
