"""A rehearsed night, for tests that look at it from many sides."""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from daemon.rehearsal import Rehearsal, rehearse
from plans.loading import load_plan, parse_plan
from plans.run_plan import Names, RunPlan, Texts

EXAMPLES = Path(__file__).resolve().parents[2] / "plans" / "examples"


@dataclass(frozen=True)
class RehearsedNight:
    """A night that has been rehearsed: its plan, its record, and the bench that knows the truth."""

    run: RunPlan
    record: Path
    rehearsal: Rehearsal


def rehearsed(plan: str, record: Path, *faults: str) -> RehearsedNight:
    """Rehearse one of the example plans, with faults."""
    run = load_plan(EXAMPLES / plan)
    return RehearsedNight(run, record, rehearsed_once(run, record, *faults))


def rehearsed_once(run: RunPlan, record: Path, *faults: str) -> Rehearsal:
    """Rehearse a plan; asked for the same night again it copies the first, for one seed gives one record."""
    first, rehearsal = _first(run.texts, run.names, faults)
    shutil.copyfile(first, record)
    return rehearsal


@cache
def _first(texts: Texts, names: Names, faults: tuple[str, ...]) -> tuple[Path, Rehearsal]:
    record = Path(_kept().name) / f"{_first.cache_info().misses}.record"
    run = parse_plan(texts.plan, texts.bench, texts.register, names)
    return record, rehearse(run, record, faults=faults)


@cache
def _kept() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory()
