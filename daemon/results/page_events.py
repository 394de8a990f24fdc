"""What happened in the night, what is hot now, and what proves the record."""

from __future__ import annotations

from daemon.guards.verdict import Reaction
from daemon.journal.entry import Kind
from daemon.journal.read import Verification
from daemon.preparation import channels_of
from daemon.results.calibrate import NightResult
from daemon.results.markup import Html, bullets, element, section, table
from daemon.results.numbers import clock, day_and_clock, duration, fixed, significant
from daemon.results.story import Said, Story
from daemon.touching import HOT_C

CAUTIONS = (
    "Probes, blocks and baths that are hot look cold. Measure before touching, and let a probe cool in "
    "its place.",
    "ohmvigil is not a safety system. The heat source's own independent over-temperature cut-out stays "
    "required, set by hand and tested.",
    "Follow local codes, the fluid's safety data sheet and your safety office; wiring, cut-outs, gas and "
    "refrigerant work belong to licensed people.",
)


def touch_section(night: NightResult, story: Story) -> Html:
    """The last measured temperatures, and the cautions: the first thing to read at the bench."""
    controller = story.traces.controller_c
    last = []
    if len(controller.value):
        last.append((float(controller.value[-1]), "the controller's display", float(controller.when_s[-1])))
    traces = story.traces.temperatures_c(channels_of(night.run), discarded=True)
    reference = traces.get(night.run.plan.reference.channel)
    if reference is not None and len(reference.value):
        last.append((float(reference.value[-1]), "the reference thermometer", float(reference.when_s[-1])))
    return section("Before touching anything", bullets((_last_words(last, story), *CAUTIONS)), name="touch")


def _last_words(last: list[tuple[float, str, float]], story: Story) -> str:
    if not last:
        return "No temperature was measured at all: treat everything as hot."
    words = "; ".join(
        f"{name} {fixed(t, 1, '°C')} ({clock(story.utc_s(when))} UTC)" for t, name, when in last
    )
    hot = any(t > HOT_C for t, _, _ in last)
    now = "It was too hot to touch then." if hot else "That was then: measure again now."
    return f"Last measured: {words}. {now}"


def events_section(story: Story) -> Html:
    """Guards, states, interruptions and words, in the order they came."""
    kinds = {Kind.VERDICT, Kind.CLEARED, Kind.STATE, Kind.INTERRUPTION, Kind.OPERATOR}
    rows = [_event(said) for said in story.said if said.kind in kinds or _notable(said)]
    spoken = story.of_kind(Kind.VERDICT)
    words = (
        "No guard spoke."
        if not spoken
        else "Guards that spoke, changes of state, interruptions and people's words:"
    )
    gaps = [
        f"{clock(story.utc_s(gap.start_s))} to {clock(story.utc_s(gap.end_s))} UTC: "
        f"nobody looked at the source for {duration(gap.end_s - gap.start_s)}."
        for gap in story.gaps
    ]
    silent = [] if story.gaps else [element("p", "The source was watched without a gap.")]
    operators = [] if story.of_kind(Kind.OPERATOR) else [element("p", "Nobody said a word to the run.")]
    header = ("UTC", "after", "what", "in words", "value", "limit")
    listed = table(header, rows, words=4)
    return section(
        "What happened", element("p", words), listed, bullets(gaps), *silent, *operators, name="events"
    )


def _notable(said: Said) -> bool:
    marks = ("item_left_out", "point_skipped", "run_ended_early", "longest_wait_over", "starting_over")
    return said.kind == Kind.MILESTONE and said.body["mark"] in marks


def _event(said: Said) -> list[str]:
    what, words, value, limit = _told(said)
    return [clock(said.utc_s), duration(said.when_s).replace(" ", "\u00a0"), what, words, value, limit]


def _told(said: Said) -> tuple[str, str, str, str]:
    body = said.body
    match said.kind:
        case Kind.VERDICT:
            reaction = Reaction[body["reaction"].upper()].in_words
            limits = [f"{significant(body[key], 5)} {body['unit']}" for key in ("value", "limit")]
            return f"guard {body['guard']}", f"{body['sentence']} ({reaction})", limits[0], limits[1]
        case Kind.CLEARED:
            return f"guard {body['guard']}", "its cause is gone", "", ""
        case Kind.STATE:
            return "state", f"{body['from']} → {body['to']}: {body['cause']}", "", ""
        case Kind.OPERATOR:
            reason = f": {body['reason']}" if body["reason"] else ""
            return "a person", f"{body['who']} said {body['word']}{reason}", "", ""
        case Kind.INTERRUPTION:
            return "interruption", body["reason"], "", ""
    return body["mark"].replace("_", " "), _milestone_words(said), "", ""


def _milestone_words(said: Said) -> str:
    body = said.body
    name = body.get("name", "")
    point = f"point {body['index'] + 1}" if "index" in body else ""
    return ": ".join(word for word in (name or point, body.get("reason", "")) if word)


def record_section(story: Story, record: Verification) -> Html:
    """What ties this page to its record."""
    opening = story.opening.body
    identified = next((m.body for m in story.of_kind(Kind.MILESTONE) if m.body["mark"] == "identified"), {})
    facts = {
        "entries": f"{record.entries:,}".replace(",", " "),
        "head of the chain": record.head,
        "checked": "every entry is as it was written" if record.intact else f"BROKEN: {record.problem}",
        "closed": "yes" if record.closed else "no: the record has no closing entry",
        "begun": day_and_clock(story.opening.utc_s),
        "program": f"ohmvigil {opening['program']}, Python {opening['python']}",
        "record format": str(opening["format"]),
        "instruments": "simulated" if story.simulated else "real",
        "source": identified.get("source", "not identified"),
        "bridge": identified.get("bridge", "not identified"),
        "plan, bench, register": ", ".join(opening["names"][key] for key in ("plan", "bench", "register")),
    }
    if story.simulated:
        facts["seed, faults"] = f"{opening['seed']}, {', '.join(opening['faults']) or 'none'}"
    pairs = [cell for name, value in facts.items() for cell in (element("dt", name), element("dd", value))]
    return section("The record", element("dl", *pairs), name="record")
