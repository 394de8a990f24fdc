"""A rehearsed night, for tests that look at it from many sides."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from daemon.rehearsal import Rehearsal, rehearse
from plans.loading import load_plan
from plans.run_plan import RunPlan

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
    return RehearsedNight(run, record, rehearse(run, record, faults=faults))
