"""A control chart: whether a check standard still reads what it always read, and since when it does not.

Limits: two standard deviations warn, three act; they hold after twenty runs and are provisional from eight.
Eight values running on one side of the mean act as well: common practice, no source (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Literal

PROVISIONAL, ENOUGH = 8, 20
_WARN, _ACT, _ON_ONE_SIDE = 2.0, 3.0, 8

Mark = Literal["too few", "good", "warning", "action"]


@dataclass(frozen=True, slots=True)
class Chart:
    """Mean and s of the runs that set the limits (one unit throughout), and a mark for every run.

    `suspect_since`: the first run after the last good one when the newest run calls for action, else None.
    """

    mean: float
    s: float
    baseline: int
    marks: tuple[Mark, ...]
    suspect_since: int | None

    @property
    def provisional(self) -> bool:
        """True while fewer than twenty runs have set the limits."""
        return self.baseline < ENOUGH

    @property
    def sentence(self) -> str:
        """The state of the chart in words."""
        if not self.marks or self.marks[-1] == "too few":
            return f"{len(self.marks)} of at least {PROVISIONAL} runs: no limits yet"
        kind = "provisional limits" if self.provisional else "limits"
        return f"{self.marks[-1]}; {kind} from {self.baseline} runs"


def control_chart(values: Sequence[float]) -> Chart:
    """Judge values in order of time; each is judged by limits from the runs before it.

    A value that calls for action does not move the limits.
    """
    base: list[float] = []
    marks: list[Mark] = []
    for place, value in enumerate(values):
        mark = _mark(base, values[: place + 1])
        marks.append(mark)
        if mark != "action" and len(base) < ENOUGH:
            base.append(value)
    s = stdev(base) if len(base) >= 2 else math.nan
    return Chart(fmean(base) if base else math.nan, s, len(base), tuple(marks), _suspect(marks))


def _mark(base: Sequence[float], until_now: Sequence[float]) -> Mark:
    if len(base) < PROVISIONAL:
        return "too few"
    mean, s = fmean(base), stdev(base)
    away = abs(until_now[-1] - mean)
    recent = until_now[-_ON_ONE_SIDE:]
    all_one_side = all(value > mean for value in recent) or all(value < mean for value in recent)
    one_sided = len(until_now) > len(base) and all_one_side
    if not away <= _ACT * s or (one_sided and len(recent) == _ON_ONE_SIDE):
        return "action"
    return "good" if away <= _WARN * s else "warning"


def _suspect(marks: Sequence[Mark]) -> int | None:
    if not marks or marks[-1] != "action":
        return None
    passed = [place for place, mark in enumerate(marks) if mark != "action"]
    return passed[-1] + 1 if passed else 0
