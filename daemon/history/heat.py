"""The heat a thermometer met in one run, from its own readings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from daemon.channels import out_of_band
from daemon.journal.entry import Kind
from daemon.journal.read import read_entries
from daemon.observations import Resistance, from_body
from daemon.preparation import channels_of
from plans.run_plan import RunPlan

ABOVE_C = (100.0, 300.0, 450.0)
_LONGEST_GAP_S = 600.0


@dataclass(frozen=True, slots=True)
class Heat:
    """Highest temperature in °C, hours above each of `ABOVE_C`, and its limit in °C."""

    highest_c: float
    hours_above: tuple[float, ...]
    limit_c: float

    @property
    def over_limit(self) -> bool:
        """True when it was hotter than it may be."""
        return self.highest_c > self.limit_c


def heat_of(record: Path, run: RunPlan, channel: int) -> Heat:
    """Sum up one channel; the time between two readings counts for the earlier one, long gaps do not."""
    facts, highest_c, seconds = channels_of(run)[channel], -math.inf, [0.0] * len(ABOVE_C)
    before: tuple[float, float] | None = None
    for entry in read_entries(record, frozenset({Kind.OBSERVATION})):
        if entry.body["what"] != "resistance" or entry.body["channel"] != channel:
            continue
        observation = from_body(dict(entry.body))
        if not isinstance(observation, Resistance) or out_of_band(facts, observation):
            continue
        t_c = facts.to_celsius(float(entry.body["value"]))
        highest_c = max(highest_c, t_c)
        if before is not None and entry.when_s - before[0] <= _LONGEST_GAP_S:
            for place, above_c in enumerate(ABOVE_C):
                seconds[place] += (entry.when_s - before[0]) * (before[1] > above_c)
        before = (entry.when_s, t_c)
    return Heat(highest_c, tuple(s / 3600.0 for s in seconds), facts.maximum_c)
