"""The present state of benches and runs as messages, put together from keeper and record."""

from __future__ import annotations

from daemon.results.phases import PointPath
from daemon.results.traces import Trace, extremes
from daemon.service.follower import Follower
from daemon.service.keeper import Keeper
from daemon.service.lab_service import LabService
from daemon.service.messages import BenchNow, ChannelNow, ChecklistItem, LabNow, RunNow, Waiting
from daemon.service.place import Standing
from daemon.states import State
from daemon.web.live_record import SET_POINT, SOURCE, LiveRecord
from daemon.web.progress import estimated_end_s, point_in_words

RECENT_S = 900.0
_RECENT_PARTS = 12
_CALLING = frozenset({State.HOLDING, State.PARKING, State.CUT})


def lab_now(service: LabService) -> LabNow:
    """Everything."""
    benches = [bench_now(service, id_) for id_ in service.keepers]
    utc = service.clock.utc().isoformat(timespec="seconds")
    return LabNow(lab=service.lab.lab.header.name, utc=utc, benches=benches)


def bench_now(service: LabService, id_: str) -> BenchNow:
    """One bench."""
    keeper, follower = service.keepers[id_], service.followers[id_]
    return BenchNow(
        id=id_,
        name=keeper.bench.name,
        simulated=keeper.bench.simulation is not None,
        standing=keeper.standing,
        sentence=keeper.sentence,
        calls=calls(keeper, follower.live),
        run=run_now(follower),
        queue=[_waiting(keeper, place) for place in range(len(keeper.queue.runs))],
        checklist=_checklist(keeper, service),
    )


def calls(keeper: Keeper, live: LiveRecord | None) -> str:
    """Why a person is called to this bench; empty when nobody is, or when somebody has acknowledged."""
    if keeper.standing in (Standing.NEEDS_PERSON, Standing.BROKEN):
        return f"{keeper.bench.name}: {keeper.sentence}"
    if live is not None and keeper.busy and live.state in _CALLING and not live.acknowledged:
        return f"{keeper.bench.name} is {live.state}: {live.cause}"
    return ""


def run_now(follower: Follower) -> RunNow | None:
    """The run as far as its record has been read."""
    live = follower.live
    if live is None or live.opening is None:
        return None
    traces = live.traces()
    points: list[PointPath] = live.phases.points
    return RunNow(
        record=live.path.name,
        title=live.title,
        state=live.state,
        cause=live.cause,
        point=point_in_words(points[-1]) if points else "",
        elapsed_s=round(live.now_s, 1),
        estimated_end_s=estimated_end_s(live),
        quiet_s=round(follower.quiet_s(), 1),
        set_point_c=_last(traces.get(SET_POINT)),
        channels=[_channel(live, number, trace) for number, trace in traces.items() if number != SET_POINT],
    )


def _channel(live: LiveRecord, number: int, trace: Trace) -> ChannelNow:
    facts = live.channels.get(number)
    # By time, since a source is looked at more often than a channel is read; highest and lowest, so that
    # no spike is lost.
    few = extremes(
        trace.between(live.now_s - RECENT_S, live.now_s), live.now_s - RECENT_S, live.now_s, _RECENT_PARTS
    )
    recent = [round(float(value), 4) for value in few.value]
    name, role = (facts.name, facts.role) if facts else ("source", "display")
    assert facts is not None or number == SOURCE
    return ChannelNow(name=name, role=role, temperature_c=_last(trace), recent_c=recent)


def _last(trace: Trace | None) -> float | None:
    return round(float(trace.value[-1]), 4) if trace is not None and len(trace.value) else None


def _waiting(keeper: Keeper, place: int) -> Waiting:
    run = keeper.queue.runs[place]
    return Waiting(
        number=run.number, plan=run.plan, title=run.title, who=run.who, submitted_utc=run.submitted_utc
    )


def _checklist(keeper: Keeper, service: LabService) -> list[ChecklistItem]:
    if keeper.arming is None:
        return []
    missing = keeper.arming.missing(service.clock.utc_s())
    return [
        ChecklistItem(key=i.key, sentence=i.sentence, caution=i.caution, confirmed=i not in missing)
        for i in keeper.arming.items
    ]
