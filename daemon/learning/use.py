"""Putting to use what was learned: the file beside a bench, and what a forecast goes by."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from daemon.learning.timing import learn_timing, walks_before
from plans.learned import Learned, Timing
from plans.loading import load_learned
from plans.reading import refused
from plans.run_plan import RunPlan


@dataclass(frozen=True, slots=True)
class Forecasting:
    """What a forecast goes by, and how to say so."""

    timing: Timing
    because: str


def learned_file(plan: Path, run: RunPlan) -> Path:
    """Where what was learned of this bench is looked for: beside its file."""
    return (plan.parent / run.names.bench).with_suffix(".learned.toml")


def learned_of(plan: Path, run: RunPlan, given: Path | None) -> Learned | None:
    """What was learned of the plan's bench; None without a file. Raises PlanError for another bench's."""
    path = given or learned_file(plan, run)
    if given is None and not path.is_file():
        return None
    learned = load_learned(path)
    if (learned.about.bench, learned.about.kind) != (run.bench.name, run.bench.heat_source.kind):
        sentence = f"this was learned of {learned.about.bench!r}, the plan's bench is {run.bench.name!r}."
        raise refused(path.name, sentence)
    return learned


def forecasting(plan: Path, run: RunPlan, given: Path | None, records: Path | None) -> Forecasting | None:
    """By the learned file, else by the bench's own records, else None. Raises PlanError."""
    learned = learned_of(plan, run, given)
    if learned is not None:
        nights = len(learned.about.records)
        return Forecasting(learned.timing, f"learned from {nights} night{'s' if nights != 1 else ''}")
    walks = walks_before(records or plan.parent / run.bench.record.folder, run)
    timing = learn_timing(walks)
    if timing is None:
        return None
    points = sum(len(walk.legs) for walk in walks)
    runs = f"{len(walks)} run{'s' if len(walks) != 1 else ''}"
    return Forecasting(timing, f"{points} points in {runs}")
