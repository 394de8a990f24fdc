"""Records that were never closed: what a crash or a power cut left behind."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from daemon.journal.entry import Kind
from daemon.journal.read import (
    NeverStarted,
    RecordError,
    ended_early,
    read_entries,
    read_opening,
    read_to_damage,
    verify,
)
from daemon.states import State
from plans.loading import parse_plan
from plans.run_plan import RunPlan

SUFFIX = ".record"


@dataclass(frozen=True)
class OpenRecord:
    """A run that was broken off: its record, its plan, and the UTC seconds of its last entry.

    `damage`: why nothing more can be written in that record; empty when it is whole.
    """

    path: Path
    run: RunPlan
    state: State
    last_utc_s: float
    damage: str = ""


def newest_record(folder: Path, bench_name: str) -> Path | None:
    """The newest record of this bench, or one that does not tell whose it is: it may be this one's.

    A file in which no run was started is passed over.
    """
    for path in sorted(folder.glob(f"*{SUFFIX}"), key=lambda one: one.stat().st_mtime, reverse=True):
        try:
            if _bench_name(path) in (bench_name, None):
                return path
        except NeverStarted:
            continue
    return None


def if_open(path: Path) -> OpenRecord | None:
    """The run of a record that was never closed, None for a closed one.

    Raises RecordError, PlanError, KeyError: nobody can say what was done, and on which bench.
    """
    state, last_utc_s = State.IDLE, 0.0
    for entry in read_to_damage(path):
        last_utc_s = entry.utc_s
        if entry.kind == Kind.STATE:
            state = State(entry.body["to"])
        if entry.kind == Kind.CLOSED:
            return None
    body = read_opening(path).body
    run = parse_plan(body["plan"], body["bench"], body["register"])
    return OpenRecord(path, run, state, last_utc_s, verify(path).problem)


def ended_as(path: Path) -> str:
    """The state in which a record was closed, in words when it was not; a file that is no record says so."""
    try:
        outcomes = [entry.body["outcome"] for entry in read_entries(path) if entry.kind == Kind.CLOSED]
    except RecordError:
        return "unknown, its record cannot be read"
    if outcomes and (early := ended_early(path)):
        return f"{outcomes[-1]} before its plan was done: {early}"
    return str(outcomes[-1]) if outcomes else "broken off"


def _bench_name(path: Path) -> str | None:
    """Whose record this is; None when it does not tell. Raises NeverStarted."""
    try:
        name = tomllib.loads(read_opening(path).body["bench"])["bench"]["name"]
    except NeverStarted:
        raise
    except (RecordError, KeyError, TypeError, ValueError):
        return None
    return str(name)
