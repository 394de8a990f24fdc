"""A folder of records as a regression set: each replayed in a process of its own, one row for each."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path

from daemon.fitting.errors import FittingError
from daemon.guards.guard import LoosenedThreshold
from daemon.journal.read import RecordError
from daemon.replay.changed import recorded_plan
from daemon.replay.replay import replay
from daemon.replay.results import compare_results
from daemon.replay.words import one_line
from drivers.errors import BadProfile
from plans.errors import PlanError


@dataclass(frozen=True, slots=True)
class Row:
    """One record of the set; `refused` says why it could not be replayed; `lasted_s` in s.

    `results_mk` is the largest change of a point, `results` says in words what else has changed.
    """

    record: str
    lasted_s: float = 0.0
    decisions: int = 0
    differences: int = 0
    first: str = ""
    results_mk: float = 0.0
    results: str = ""
    refused: str = ""

    @property
    def same(self) -> bool:
        """Every decision and every digit came out again."""
        return not (self.refused or self.differences or self.results or self.results_mk)


def records_in(folder: Path) -> list[Path]:
    """All records of a folder and the folders below it."""
    return sorted(folder.rglob("*.record"))


def replay_all(
    records: Sequence[Path], processes: int, tell: Callable[[int], None] = lambda _: None
) -> list[Row]:
    """A row for each record in the order given; `tell` hears after each how many are done."""
    context = multiprocessing.get_context("spawn")  # no thread of ours is copied half-way
    with ProcessPoolExecutor(processes, mp_context=context) as pool:
        futures = [pool.submit(row_of, record) for record in records]
        for done, _ in enumerate(as_completed(futures), 1):
            tell(done)
        return [future.result() for future in futures]


def row_of(record: Path) -> Row:
    """Replay one record and compare its results with the report beside it."""
    try:
        found = replay(record, recorded_plan(record))
        changes = compare_results(record, record.with_suffix(".report"))
    except (RecordError, PlanError, FittingError, BadProfile, LoosenedThreshold, OSError) as error:
        return Row(record.name, refused=str(error))
    other = [change for change in changes if not change.same]
    return Row(
        record.name,
        found.lasted_s,
        found.decisions,
        len(found.differences),
        one_line(found.differences[0]) if found.differences else "",
        max((max(change.temperature_mk, change.resistance_mk) for change in other), default=0.0),
        "; ".join(f"{change.serial}: {change.curve}" for change in other if change.curve),
    )
