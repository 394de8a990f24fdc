"""From one journal entry to the messages that tell of it: pure functions, no clock, no network."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from daemon.journal.entry import Entry, Kind
from daemon.states import State
from daemon.telemetry import topics
from daemon.telemetry.payloads import (
    ChannelReading,
    Event,
    Fault,
    GuardVerdict,
    Payload,
    PointProgress,
    Results,
    RunState,
    SourceLook,
    Status,
)
from daemon.telemetry.run_facts import RunFacts, utc_text
from daemon.telemetry.topics import Message

_PHASES = {
    "point_started": "approaching",
    "arrived": "arrived",
    "settled": "settled",
    "unsettled": "unsettled",
    "soaked": "soaked",
    "longest_wait_over": "longest wait over",
    "sequence_started": "reading",
    "point_finished": "finished",
    "point_skipped": "skipped",
}
"""Milestones of a point, and what a point is said to be doing after each."""

_QUIET = ("measure", "look_at_source", "look_at_room", "wait")
"""Actions that change nothing: their observations are told, they themselves are not."""

_NAMED = ("mark", "index", "stage", "label", "temperature_c", "by")

_Build = Callable[[Entry, RunFacts, str], list[Message]]


def messages_of(entry: Entry, run: RunFacts, base: str) -> list[Message]:
    """All messages of one entry, none for what is of no interest afar; at most one a topic."""
    build = _BUILDERS.get(entry.kind)
    return build(entry, run, base) if build else []


def status(base: str, seq: int, utc_s: float, *, online: bool, reason: str) -> Message:
    """The bench's own status, which no journal entry tells of."""
    word = "online" if online else "offline"
    payload = Status.model_validate({"seq": seq, "t": utc_text(utc_s), "status": word, "reason": reason})
    return topics.STATUS.message(base, payload)


def worth_telling(entry: Entry) -> bool:
    """False for the many entries that make no message."""
    return entry.kind in _BUILDERS and not (entry.kind == Kind.ACTION and entry.body["do"] in _QUIET)


def live_key(entry: Entry) -> str:
    """Which live reading an entry is; empty for an entry of which every one counts."""
    if entry.kind != Kind.OBSERVATION:
        return ""
    body = entry.body
    return f"{body['what']} {body.get('channel', body.get('role', ''))}"


def _head(entry: Entry, run: RunFacts) -> dict[str, Any]:
    return {"seq": entry.seq, "t": utc_text(entry.utc_s), "run": run.run}


def _opened(entry: Entry, run: RunFacts, base: str) -> list[Message]:
    names = {"title": run.title, "bench": run.bench, "program": entry.body["program"]}
    return [
        _run_state(entry, run, base, State.IDLE, "opened"),
        _event(entry, run, base, "opened", names | {"faults": entry.body["faults"]}),
    ]


def _state(entry: Entry, run: RunFacts, base: str) -> list[Message]:
    to, cause = str(entry.body["to"]), entry.body["cause"]
    details = {"from": str(entry.body["from"]), "to": to, "cause": cause}
    return [_run_state(entry, run, base, to, cause), _event(entry, run, base, to, details)]


def _run_state(entry: Entry, run: RunFacts, base: str, state: str, cause: str) -> Message:
    payload = RunState(
        **_head(entry, run),
        state=state,
        cause=cause,
        title=run.title,
        bench=run.bench,
        simulated=run.simulated,
        channels=run.channel_names,
        points=tuple(run.points.values()),
    )
    return topics.RUN.message(base, payload)


def _action(entry: Entry, run: RunFacts, base: str) -> list[Message]:
    do = entry.body["do"]
    return [] if do in _QUIET else [_event(entry, run, base, do, _without(entry, "do", "by"))]


def _observation(entry: Entry, run: RunFacts, base: str) -> list[Message]:
    match entry.body["what"]:
        case "resistance":
            return [_channel(entry, run, base)]
        case "source":
            return [topics.SOURCE.message(base, SourceLook(**_head(entry, run), **_told(entry, SourceLook)))]
        case "failed":
            role, reason = entry.body["role"], entry.body["reason"]
            return [topics.FAULT.message(base, Fault(**_head(entry, run), role=role, reason=reason), role)]
    return []


def _channel(entry: Entry, run: RunFacts, base: str) -> Message:
    body, facts = entry.body, run.channels.get(entry.body["channel"])
    value = body["value"]
    payload = ChannelReading(
        **_head(entry, run),
        channel=body["channel"],
        serial=facts.name if facts else "",
        role=facts.role if facts else "",
        resistance_ohm=value,
        temperature_c=round(facts.to_celsius(value), 4) if facts and value is not None else None,
        current_ma=body["current_ma"],
        use=body["use"],
        quality=body.get("quality", "fresh"),
        reason=body.get("reason", ""),
    )
    return topics.CHANNEL.message(base, payload, body["channel"])


def _verdict(entry: Entry, run: RunFacts, base: str) -> list[Message]:
    payload = GuardVerdict(**_head(entry, run), standing=True, **_told(entry, GuardVerdict))
    return [topics.VERDICT.message(base, payload)]


def _cleared(entry: Entry, run: RunFacts, base: str) -> list[Message]:
    payload = GuardVerdict(
        **_head(entry, run),
        guard=entry.body["guard"],
        channel=entry.body["channel"],
        standing=False,
        reaction="",
        sentence="what caused the verdict has gone",
        value=None,
        limit=None,
        unit="",
        latched=False,
    )
    return [topics.VERDICT.message(base, payload)]


def _milestone(entry: Entry, run: RunFacts, base: str) -> list[Message]:
    mark = entry.body["mark"]
    event = _event(entry, run, base, mark, _without(entry, "mark", "by"))
    return [_point(entry, run, base), event] if mark in _PHASES else [event]


def _point(entry: Entry, run: RunFacts, base: str) -> Message:
    index = entry.body["index"]
    planned = run.points.get(index)
    payload = PointProgress(
        **_head(entry, run),
        index=index,
        phase=_PHASES[entry.body["mark"]],
        stage=planned.stage if planned else "",
        label=planned.label if planned else "",
        temperature_c=planned.temperature_c if planned else None,
        details=_without(entry, *_NAMED),
    )
    return topics.POINT.message(base, payload, index)


def _operator(entry: Entry, run: RunFacts, base: str) -> list[Message]:
    return [_event(entry, run, base, entry.body["word"], _without(entry, "word"))]


def _interruption(entry: Entry, run: RunFacts, base: str) -> list[Message]:
    return [_event(entry, run, base, "interruption", dict(entry.body))]


def _closed(entry: Entry, run: RunFacts, base: str) -> list[Message]:
    outcome, entries = str(entry.body["outcome"]), entry.body["entries"]
    good = outcome == State.FINISHED and not run.ended_early
    payload = Results(**_head(entry, run), outcome=outcome, good=good, entries=entries)
    return [topics.RESULTS.message(base, payload), _event(entry, run, base, "closed", {"outcome": outcome})]


def _event(entry: Entry, run: RunFacts, base: str, what: str, details: dict[str, Any]) -> Message:
    payload = Event(**_head(entry, run), kind=str(entry.kind), what=what, details=details)
    return topics.EVENT.message(base, payload)


def _told(entry: Entry, model: type[Payload]) -> dict[str, Any]:
    """What of an entry's body the message has room for."""
    return {name: entry.body[name] for name in model.model_fields if name in entry.body}


def _without(entry: Entry, *names: str) -> dict[str, Any]:
    return {name: value for name, value in entry.body.items() if name not in names}


_BUILDERS: dict[str, _Build] = {
    Kind.OPENED: _opened,
    Kind.STATE: _state,
    Kind.ACTION: _action,
    Kind.OBSERVATION: _observation,
    Kind.VERDICT: _verdict,
    Kind.CLEARED: _cleared,
    Kind.MILESTONE: _milestone,
    Kind.OPERATOR: _operator,
    Kind.INTERRUPTION: _interruption,
    Kind.CLOSED: _closed,
}
