"""The morning in one minute: how the night was, every thermometer, what to look at, what is signed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daemon.fitting.characteristic import Characteristic
from daemon.fitting.comparison import furthest_apart_mk
from daemon.history.check_standard import NO_CHECK_STANDARD, check_standard_of
from daemon.history.past import past_of
from daemon.history.since_last import since_last
from daemon.journal.read import verify
from daemon.results.calibrate import NightResult, calibrate
from daemon.results.judgement import SIMULATED, judge_night
from daemon.results.numbers import fixed
from daemon.results.report import item_line
from daemon.results.story import tell
from daemon.review.acts import state_in_words
from daemon.review.state import Review
from daemon.review.words import in_words


@dataclass(frozen=True, slots=True)
class Morning:
    """Sentences for a terminal; `good` when the night was whole and nothing was flagged."""

    good: bool
    simulated: bool
    verdict: str
    why: str
    items: tuple[str, ...]
    both_fits: tuple[str, ...]
    check_standard: str
    flags: tuple[str, ...]
    signed: tuple[str, ...]
    state: str
    head: str

    def lines(self) -> list[str]:
        """Plain text, most important first."""
        mark = [SIMULATED] if self.simulated else []
        why = [self.why] if self.why else []
        flags = [f"look at: {flag}" for flag in self.flags]
        signed = ["", *(f"signed: {one}" for one in self.signed)] if self.signed else []
        return [
            *mark,
            self.verdict,
            *why,
            *self.items,
            *self.both_fits,
            self.check_standard,
            *flags,
            *signed,
            "",
            self.state,
            f"head  {self.head}",
        ]

    def body(self) -> dict[str, Any]:
        """The same for programs."""
        return {key: getattr(self, key) for key in self.__slots__}


def look(record: Path) -> Morning:
    """Evaluate a record for review; raises RecordError, PlanError, FittingError."""
    checked, story, night = verify(record), tell(record), calibrate(record)
    past = past_of(record, night)
    check = check_standard_of(night, past)
    judged = judge_night(night, story, checked, check, since_last(past))
    return Morning(
        judged.good,
        story.simulated,
        judged.headline,
        judged.why,
        tuple(item_line(night, item) for item in night.items),
        tuple(both_fits(night)),
        check.sentence if check is not None else NO_CHECK_STANDARD,
        judged.flags,
        signed_words(night.review),
        state_in_words(night.review),
        checked.head,
    )


def signed_words(review: Review) -> tuple[str, ...]:
    """Every signed entry in words."""
    return tuple(in_words(entry) for entry in review.history)


def both_fits(night: NightResult) -> list[str]:
    """For each thermometer with excluded points: the fit without and with them."""
    return [
        f"{item.serial}: {_beside(found, found.with_excluded)}"
        for item in night.items
        if (found := item.characteristic) is not None and found.with_excluded is not None
    ]


def _beside(without: Characteristic, with_them: Characteristic) -> str:
    return (
        f"chi-squared {without.chi_squared:.2f} ({without.degrees_of_freedom} degrees of freedom) without "
        f"the excluded points, {with_them.chi_squared:.2f} ({with_them.degrees_of_freedom}) with them; the "
        f"two fits are up to {fixed(furthest_apart_mk(without, with_them), 2, 'mK')} apart"
    )
