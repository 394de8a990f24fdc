"""The heat the thermometers met in one run, from their own readings."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from daemon.channels import ChannelFacts, out_of_band
from daemon.journal.entry import Entry, Kind
from daemon.journal.read import read_entries
from daemon.observations import Resistance, from_body
from daemon.preparation import channels_of
from plans.run_plan import RunPlan

ABOVE_C = (100.0, 300.0, 450.0)
_LONGEST_GAP_S = 600.0


@dataclass(frozen=True, slots=True)
class Heat:
    """Highest temperature in °C (None without a reading), hours above each of `ABOVE_C`, its limit in °C."""

    highest_c: float | None
    hours_above: tuple[float, ...]
    limit_c: float

    @property
    def over_limit(self) -> bool:
        """True when it was hotter than it may be."""
        return self.highest_c is not None and self.highest_c > self.limit_c


@dataclass
class _Sum:
    """One channel so far; the time between two readings counts for the earlier one, long gaps do not."""

    facts: ChannelFacts
    highest_c: float | None = None
    seconds: list[float] = field(default_factory=lambda: [0.0] * len(ABOVE_C))
    before: tuple[float, float] | None = None

    def take(self, entry: Entry) -> None:
        observation = from_body(dict(entry.body))
        if not isinstance(observation, Resistance) or out_of_band(self.facts, observation):
            return
        t_c = self.facts.to_celsius(float(entry.body["value"]))
        self.highest_c = t_c if self.highest_c is None else max(self.highest_c, t_c)
        if self.before is not None and entry.when_s - self.before[0] <= _LONGEST_GAP_S:
            for place, above_c in enumerate(ABOVE_C):
                self.seconds[place] += (entry.when_s - self.before[0]) * (self.before[1] > above_c)
        self.before = (entry.when_s, t_c)

    @property
    def heat(self) -> Heat:
        return Heat(self.highest_c, tuple(s / 3600.0 for s in self.seconds), self.facts.maximum_c)


def heat_by_thermometer(record: Path, run: RunPlan) -> dict[str, Heat]:
    """Sum up every channel in one walk; heads are left out. Raises RecordError."""
    sums = {channel: _Sum(facts) for channel, facts in channels_of(run).items() if facts.role != "head"}
    for entry in read_entries(record, frozenset({Kind.OBSERVATION})):
        if entry.body["what"] == "resistance" and entry.body["channel"] in sums:
            sums[entry.body["channel"]].take(entry)
    return {one.facts.name: one.heat for one in sums.values()}
