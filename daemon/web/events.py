"""What happened, newest first, in sentences."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from daemon.journal.entry import Entry, Kind
from daemon.results.markup import Html, element, joined
from daemon.results.numbers import clock, fixed
from daemon.web.live_record import LiveRecord

SHOWN = 60

_MARKS = {
    "identified": "instruments have said who they are",
    "lease": "the controller takes {fall_back_c:g} °C by itself after {silence_s:g} s without a command",
    "point_started": "going to {t} ({label})",
    "arrived": "arrived at {t}, waiting for equilibrium",
    "settled": "equilibrium reached, soaking",
    "unsettled": "equilibrium lost, waiting again",
    "soaked": "soaked",
    "run_started": "run started, {points} points",
    "looked_at_rest": "all thermometers read at rest",
    "identity_not_tested": "which probe is which was not tested: {reason}",
    "cycle_finished": "one cycle of the sequence read",
    "sequence_started": "reading",
    "point_finished": "point done",
    "point_skipped": "point skipped: {reason}",
    "item_left_out": "{name} is left out: {reason}",
    "starting_over": "this point is soaked and read again: {reason}",
    "parking": "parking",
    "heater_off": "heater off",
    "parked": "parked",
    "cut_and_cool": "cool after the cut",
    "what_is_safe": "what is safe: {sentence}",
    "not_protected": "{sentence}",
    "anneal_before_use": "{sentence}",
    "run_ended_early": "the run ends early: {reason}",
    "alarm": "called for a person, time {times}: {cause}",
}


def events(live: LiveRecord) -> Html:
    """A list with times of day (UTC)."""
    with live.lock:
        newest = list(live.said)[-SHOWN:]
    rows = [_row(entry) for entry in reversed(newest)]
    return element("ol", joined(rows), cls="events") if rows else element("p", "nothing yet", cls="said")


def verdicts(live: LiveRecord) -> Html:
    """What the guards say now: standing verdicts only."""
    with live.lock:
        standing = list(live.standing.values())
    rows = [
        element("li", element("b", str(body["reaction"])), f" {body['guard']}: {body['sentence']}")
        for body in standing
    ]
    return (
        element("ul", joined(rows), cls="verdicts")
        if rows
        else element("p", "No guard objects.", cls="said good")
    )


def _row(entry: Entry) -> Html:
    cls = _CLASSES.get(entry.kind, "")
    return element("li", element("time", clock(entry.utc_s)), " ", sentence(entry), cls=cls)


def sentence(entry: Entry) -> str:
    """An entry in words."""
    say = _SAY.get(entry.kind)
    return say(dict(entry.body)) if say else str(entry.kind)


def _mark(body: dict[str, Any]) -> str:
    words = _MARKS.get(body["mark"])
    if words is None:
        return str(body["mark"]).replace("_", " ")
    return words.format_map(_Known(body | {"t": fixed(body.get("temperature_c"), 1, "°C")}))


class _Known(dict[str, Any]):
    def __missing__(self, key: str) -> str:
        return "–"


_SAY: dict[str, Callable[[dict[str, Any]], str]] = {
    Kind.MILESTONE: _mark,
    Kind.STATE: lambda body: f"now {body['to']}: {body['cause']}",
    Kind.VERDICT: lambda body: f"{body['reaction']}: {body['guard']}: {body['sentence']}",
    Kind.CLEARED: lambda body: f"cleared: {body['guard']}",
    Kind.OPERATOR: lambda body: f"{body['who']}: {body['word']} {body['reason']}".rstrip(),
    Kind.INTERRUPTION: lambda body: f"interrupted: {body['reason']}",
    Kind.CLOSED: lambda body: f"record closed, the run is {body['outcome']}",
}
_CLASSES: dict[str, str] = {Kind.STATE: "state", Kind.VERDICT: "verdict", Kind.OPERATOR: "person"}
