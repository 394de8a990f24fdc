"""What a run's opening entry tells of it: the names that make later entries readable."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from daemon.channels import ChannelFacts
from daemon.journal.entry import Entry, Kind
from daemon.preparation import channels_of
from daemon.telemetry.payloads import ChannelName, PlannedPoint
from plans.errors import PlanError
from plans.loading import parse_plan
from plans.run_plan import RunPlan
from plans.unroll import measuring_steps


@dataclass(frozen=True, slots=True)
class RunFacts:
    """One run as messages name it; empty before a run was opened."""

    run: str = ""
    title: str = ""
    bench: str = ""
    simulated: bool = False
    channels: Mapping[int, ChannelFacts] = field(default_factory=dict)
    points: Mapping[int, PlannedPoint] = field(default_factory=dict)
    ended_early: bool = False

    @property
    def channel_names(self) -> tuple[ChannelName, ...]:
        """Channels with their thermometers."""
        return tuple(ChannelName(channel=c, serial=f.name, role=f.role) for c, f in self.channels.items())


def facts_after(entry: Entry, facts: RunFacts) -> RunFacts:
    """The facts once this entry is written: another run, or one that ended before its plan was done."""
    if entry.kind == Kind.OPENED:
        return facts_of(entry)
    early = entry.kind == Kind.MILESTONE and entry.body["mark"] == "run_ended_early"
    return replace(facts, ended_early=True) if early else facts


def utc_text(utc_s: float) -> str:
    """UTC in seconds since 1970 as text, to the millisecond."""
    return Entry(0, "", 0.0, utc_s, {}).utc.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def facts_of(opening: Entry) -> RunFacts:
    """Facts from the opening entry; a plan that this version cannot read leaves the names empty."""
    body, run = opening.body, utc_text(opening.utc_s)
    try:
        plan = parse_plan(body["plan"], body["bench"], body["register"])
    except PlanError:
        return RunFacts(run, simulated=body["simulated"])
    return RunFacts(
        run, plan.plan.header.title, plan.bench.name, body["simulated"], channels_of(plan), _points(plan)
    )


def _points(run: RunPlan) -> dict[int, PlannedPoint]:
    return {
        step.index: PlannedPoint(
            index=step.index, stage=step.kind, label=step.label, temperature_c=step.temperature_c
        )
        for step in measuring_steps(run)
    }
