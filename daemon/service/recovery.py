"""Records that were never closed: what a crash or a power cut left behind."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from daemon.journal.entry import Kind
from daemon.journal.read import RecordError, read_entries, read_opening
from daemon.states import State
from plans.errors import PlanError
from plans.loading import parse_plan
from plans.run_plan import RunPlan

SUFFIX = ".record"


@dataclass(frozen=True)
class OpenRecord:
    """A run that was broken off: its record, its plan, and the UTC seconds of its last entry."""

    path: Path
    run: RunPlan
    state: State
    last_utc_s: float


def newest_record(folder: Path, bench_name: str) -> Path | None:
    """The newest record of this bench; a file that is no record is passed over."""
    for path in sorted(folder.glob(f"*{SUFFIX}"), key=lambda one: one.stat().st_mtime, reverse=True):
        try:
            if _plan_of(path).bench.name == bench_name:
                return path
        except (RecordError, PlanError, KeyError):
            continue
    return None


def if_open(path: Path) -> OpenRecord | None:
    """The run of a record that was never closed, None for a closed one; raises RecordError, PlanError."""
    state, last_utc_s = State.IDLE, 0.0
    for entry in read_entries(path):
        last_utc_s = entry.utc_s
        if entry.kind == Kind.STATE:
            state = State(entry.body["to"])
        if entry.kind == Kind.CLOSED:
            return None
    return OpenRecord(path, _plan_of(path), state, last_utc_s)


def ended_as(path: Path) -> str:
    """The state in which a record was closed, in words when it was not; a file that is no record says so."""
    try:
        outcomes = [entry.body["outcome"] for entry in read_entries(path) if entry.kind == Kind.CLOSED]
    except RecordError:
        return "unknown, its record cannot be read"
    return str(outcomes[-1]) if outcomes else "broken off"


def _plan_of(path: Path) -> RunPlan:
    body = read_opening(path).body
    return parse_plan(body["plan"], body["bench"], body["register"])
