"""The runs in a record's folder up to its own: what the check standard and each R0 were before tonight."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from daemon.fitting.errors import FittingError
from daemon.journal.entry import Entry, Kind
from daemon.journal.read import RecordError, read_entries
from daemon.results.calibrate import NightResult, calibrate
from plans.errors import PlanError


@dataclass(frozen=True, slots=True)
class Run:
    """One evaluated run."""

    opened: datetime
    night: NightResult


@dataclass(frozen=True, slots=True)
class Past:
    """Runs of these thermometers, oldest first, this one last; `unread` are records that say nothing."""

    runs: tuple[Run, ...]
    unread: tuple[str, ...] = ()


def past_of(record: Path, night: NightResult) -> Past:
    """Read the folder of `record`; simulated runs count for simulated ones only, copies of a run once.

    Raises RecordError when `record` itself cannot be read.
    """
    own = _opening(record)
    found, unread = {own.utc: Run(own.utc, night)}, []
    for path in sorted(record.parent.glob("*.record")):
        try:
            opening = _opening(path)
            if opening.utc not in found and _belongs(opening, own, night):
                found[opening.utc] = Run(opening.utc, calibrate(path))
        except (RecordError, PlanError, FittingError, OSError) as error:
            unread.append(f"{path.name}: {error}")
    return Past(tuple(found[when] for when in sorted(found)), tuple(unread))


def r0_history(past: Past, serial: str) -> Iterator[tuple[datetime, float]]:
    """R0 in ohm at the end of each run, or at its beginning where the end has none."""
    for run in past.runs:
        item = next((one for one in run.night.items if one.serial == serial), None)
        r0_ohm = None if item is None else item.r0_after_ohm or item.r0_before_ohm
        if r0_ohm is not None:
            yield run.opened, r0_ohm


def _opening(record: Path) -> Entry:
    opening = next(read_entries(record, frozenset({Kind.OPENED})), None)
    if opening is None:
        raise RecordError(f"{record}: the record has no opening entry")
    return opening


def _belongs(other: Entry, own: Entry, night: NightResult) -> bool:
    if other.utc > own.utc or other.body["simulated"] != own.body["simulated"]:
        return False
    return any(f'"{item.serial}"' in other.body["plan"] for item in night.items)
