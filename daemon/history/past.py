"""The runs among the records of a folder: the one walk that every look back goes by."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from daemon.fitting.errors import FittingError
from daemon.history.kept import Kept
from daemon.history.visits import Visit
from daemon.journal.entry import Entry
from daemon.journal.read import RecordError, outer_links, read_opening
from daemon.results.calibrate import NightResult
from plans.errors import PlanError


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A record that says nothing of its run, and why."""

    record: str
    reason: str


@dataclass(frozen=True, slots=True)
class Past:
    """Visits of thermometers, those of the oldest run first; `unread` are records that say nothing."""

    visits: tuple[Visit, ...]
    unread: tuple[Unreadable, ...] = ()

    @property
    def runs(self) -> int:
        """How many runs there are."""
        return len({visit.record for visit in self.visits})

    @property
    def newest(self) -> tuple[Visit, ...]:
        """Those of the newest run, which is the record's own where there is one."""
        return tuple(visit for visit in self.visits if visit.record == self.visits[-1].record)

    def of(self, serial: str) -> tuple[Visit, ...]:
        """The visits of one thermometer."""
        return tuple(visit for visit in self.visits if visit.serial == serial)


def _unheard(count: int) -> None:
    """Nobody waits."""


def past_of(record: Path, night: NightResult) -> Past:
    """The runs of these thermometers in the folder of `record` up to its own, which comes last.

    Simulated runs count for simulated ones only. Raises RecordError when `record` itself cannot be read.
    """
    own, kept = read_opening(record), Kept(record.parent)
    visits = kept.visits(record, night)
    others = [path for path in records_of(record.parent) if path.name != record.name]
    before = _walk(others, [item.serial for item in night.items], kept, own, {outer_links(record)[0]})
    return Past((*before.visits, *visits), before.unread)


def records_of(folder: Path) -> list[Path]:
    """The records of a folder, not of its sub-folders."""
    return sorted(folder.glob("*.record"))


def runs_in(folder: Path, serial: str, done: Callable[[int], None] = _unheard) -> Past:
    """All runs of a thermometer among the records of a folder; `done` is told how many were looked at."""
    return _walk(records_of(folder), [serial], Kept(folder), None, set(), done)


def _walk(
    records: Sequence[Path],
    serials: Sequence[str],
    kept: Kept,
    upto: Entry | None,
    seen: set[str],
    done: Callable[[int], None] = _unheard,
) -> Past:
    """Runs in which one of `serials` took part; copies of a run (`seen`: first links) count once."""
    visits: list[Visit] = []
    unread = []
    for count, path in enumerate(records, start=1):
        try:
            first_link = outer_links(path)[0]
            if first_link not in seen and _belongs(read_opening(path), serials, upto):
                visits += kept.visits(path)
                seen.add(first_link)
        except (RecordError, PlanError, FittingError, OSError) as error:
            unread.append(Unreadable(path.name, str(error)))
        done(count)
    kept.write()
    ordered = sorted(visits, key=lambda visit: (visit.opened, visit.record))
    return Past(tuple(ordered), tuple(unread))


def _belongs(opening: Entry, serials: Sequence[str], upto: Entry | None) -> bool:
    if upto is not None and (opening.utc > upto.utc or opening.body["simulated"] != upto.body["simulated"]):
        return False
    return any(f'"{serial}"' in opening.body["plan"] for serial in serials)
