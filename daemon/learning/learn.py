"""From records of one bench to what they teach of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from daemon.fitting.errors import FittingError
from daemon.journal.read import RecordError
from daemon.learning.lags import learn_lags
from daemon.learning.night import Night, read_night
from daemon.learning.response import learn_response
from daemon.learning.source import learn_display, learn_source
from daemon.learning.timing import Walk, learn_timing, same_bench, walk_of
from plans.errors import PlanError
from plans.learned import About, Learned


class CannotLearn(Exception):
    """These records teach nothing together; the message is for the person at the bench."""


@dataclass(frozen=True)
class Lesson:
    """The nights that were read, and what they teach."""

    nights: tuple[Night, ...]
    learned: Learned


def learn(records: Sequence[Path], say: Callable[[str], None] = lambda sentence: None) -> Lesson:
    """All that the records of one bench teach; `say` is told what is being done. Raises CannotLearn."""
    walks: list[Walk] = []
    nights: list[Night] = []
    for number, record in enumerate(records, start=1):
        say(f"reading {record.name} ({number} of {len(records)})")
        try:
            night = read_night(record)
        except (RecordError, PlanError, FittingError) as error:
            raise CannotLearn(str(error)) from error
        run = night.run
        nights.append(night)
        if not same_bench(run, nights[0].run):
            raise CannotLearn(
                f"{record}: this is a night of {run.bench.name!r}, the first record is of "
                f"{nights[0].run.bench.name!r}; learn from one bench at a time"
            )
        walks.append(walk_of(record, run, night.story.phases))
    timing = learn_timing(walks)
    if timing is None:
        raise CannotLearn("in none of these records did a point come to rest: there is nothing to learn from")
    display = learn_display(nights)
    learned = Learned(
        learned=_about(nights),
        timing=timing,
        display=display,
        source=learn_source(nights),
        probes=learn_lags(nights),
        response={} if display is None else learn_response(nights, display, say),
    )
    return Lesson(tuple(nights), learned)


def _about(nights: Sequence[Night]) -> About:
    run = nights[0].run
    until_s = max(night.story.opening.utc_s + night.story.end_s for night in nights)
    return About(
        bench=run.bench.name,
        kind=run.bench.heat_source.kind,
        simulated=run.bench.simulation is not None,
        records=tuple(night.record.name for night in nights),
        until_utc=datetime.fromtimestamp(round(until_s), UTC),
    )
