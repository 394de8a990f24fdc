"""Where a lab's daemon keeps its own files; apart, so that short commands need not read the lab file."""

from __future__ import annotations

from pathlib import Path


def state_folder(lab_file: Path) -> Path:
    """The folder beside the lab file: token, address, queues, locks."""
    return lab_file.resolve().with_suffix(".state")
