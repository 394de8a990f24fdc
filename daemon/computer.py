"""Whether this computer can keep the record of a night: room on the disk, and a clock that goes forward."""

from __future__ import annotations

import shutil
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

LEAST_FREE_MIB = 1024
"""A night writes some ten MiB an hour; the rest is room to end in order. Common practice, no source."""

_MIB = 2**20
_CLOCK_SPARE_S = 60.0


def computer_problem(records: Path, utc_s: float, least_free_mib: int = LEAST_FREE_MIB) -> str:
    """Why no real run may be begun whose record lies in this folder; empty when it may."""
    there = next(folder for folder in (records, *records.absolute().parents) if folder.is_dir())
    free_mib = shutil.disk_usage(there).free // _MIB
    if free_mib < least_free_mib:
        return (
            f"{free_mib} MiB are free where the record would lie ({there}), and {least_free_mib} MiB are "
            "needed to write a night to its end: make room, or name another folder"
        )
    newest_s = _newest_s(records)
    if utc_s < newest_s - _CLOCK_SPARE_S:
        now, newest = (f"{datetime.fromtimestamp(s, UTC):%Y-%m-%d %H:%M}" for s in (utc_s, newest_s))
        return (
            f"this computer's clock says {now} UTC, and a record here was written at {newest}: set the clock "
            "right, or due dates and the order of records would be wrong"
        )
    return ""


def _newest_s(records: Path) -> float:
    newest_s = 0.0
    for path in records.glob("*.record"):
        with suppress(OSError):
            newest_s = max(newest_s, path.stat().st_mtime)
    return newest_s
