"""Which program this is: its version, and a fingerprint of its own source."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

_PARTS = ("daemon", "drivers", "plans", "simulators")
_KINDS = frozenset({".py", ".toml", ".typ", ".css", ".js"})


@cache
def program_version() -> str:
    """Version and source, such as "0.1.0, source 1f0c9a3b7d21": two that differ are not the same program."""
    try:
        released = version("ohmvigil")
    except PackageNotFoundError:
        released = "a clone"
    return f"{released}, source {fingerprint(Path(__file__).resolve().parents[1])}"


def fingerprint(root: Path) -> str:
    """Twelve hexadecimal digits of the SHA-256 over names and contents of everything that has an effect."""
    whole = hashlib.sha256()
    files = (path for part in _PARTS for path in (root / part).rglob("*") if path.suffix in _KINDS)
    for path in sorted(files):
        whole.update(f"{path.relative_to(root).as_posix()}\n".encode())
        whole.update(hashlib.sha256(path.read_bytes()).digest())
    return whole.hexdigest()[:12]
