"""What each entry of a record becomes, and the schemas that describe it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from daemon.cli import main
from daemon.guards.verdict import Reaction, Verdict
from daemon.journal.entry import Entry, Kind
from daemon.observations import Failed, Resistance, to_body
from daemon.states import State
from daemon.telemetry.messages import messages_of, status, worth_telling
from daemon.telemetry.run_facts import RunFacts, facts_after
from daemon.telemetry.topics import TREE, Message, schemas
from drivers.quantities import Reading, absent

TELEMETRY = Path(__file__).resolve().parents[2] / "daemon" / "telemetry"
_FACTS = RunFacts(run="2027-01-15T08:00:00.000Z", title="a night")
_VERDICT = Verdict("over_limit", Reaction.PARK, "the bath is above its limit", 91.2, 90.0, "°C")

ENTRIES: tuple[tuple[Kind, dict[str, Any]], ...] = (
    (Kind.STATE, {"from": State.IDLE, "to": State.RUNNING, "cause": "started"}),
    (Kind.ACTION, {"do": "write_set_point", "temperature_c": 40.0, "by": "running"}),
    (Kind.OBSERVATION, {"of": 1} | to_body(Resistance(1.0, 2, 1.0, Reading(107.79, "ohm", 1.0)))),
    (Kind.OBSERVATION, {"of": 1} | to_body(Resistance(1.0, 2, 1.0, absent("ohm", 1.0, "open circuit")))),
    (Kind.OBSERVATION, {"of": 0} | to_body(Failed(1.0, "source", "no answer within 2 s"))),
    (Kind.VERDICT, _VERDICT.body()),
    (Kind.CLEARED, {"guard": "over_limit", "channel": 0}),
    (Kind.MILESTONE, {"mark": "settled", "index": 1, "reached": {"drift_mk": 1.9}, "by": "running"}),
    (Kind.OPERATOR, {"word": "hold", "who": "the night watch", "reason": "smell of oil"}),
    (Kind.INTERRUPTION, {"reason": "resumed after 40 s", "gap_s": 40.0}),
    (Kind.CLOSED, {"outcome": State.PARKED, "entries": 11}),
)


def told() -> list[Message]:
    entries = [Entry(n, kind, float(n), 1.8e9 + n, body) for n, (kind, body) in enumerate(ENTRIES, start=1)]
    return [message for entry in entries for message in messages_of(entry, _FACTS, "b")]


def only(topic: str) -> dict[str, Any]:
    found = [message for message in told() if message.topic == topic]
    payload: dict[str, Any] = json.loads(found[-1].payload)
    return payload


def test_every_message_has_its_number_its_time_and_its_run() -> None:
    for message in told():
        payload = json.loads(message.payload)
        assert payload["t"] == f"2027-01-15T08:00:{payload['seq']:02d}.000Z"
        assert payload["run"] == _FACTS.run


def test_states_points_and_results_are_retained_and_only_readings_are_live() -> None:
    retained = {message.topic for message in told() if message.retain}
    live = {message.topic for message in told() if message.live}
    assert retained == {"b/run", "b/point/1", "b/results"}
    assert live == {"b/channel/2", "b/fault/source"}
    assert all(message.qos == (0 if message.live else 1) for message in told())


def test_a_verdict_tells_guard_value_limit_and_reaction_and_later_that_it_cleared() -> None:
    verdict, cleared = (json.loads(m.payload) for m in told() if m.topic == "b/verdict")
    assert (
        verdict["standing"],
        verdict["reaction"],
        verdict["value"],
        verdict["limit"],
        verdict["unit"],
    ) == (
        True,
        "park",
        91.2,
        90.0,
        "°C",
    )
    assert (cleared["standing"], cleared["guard"], cleared["value"]) == (False, "over_limit", None)


def test_a_reading_that_is_absent_is_null_with_its_reason_and_never_a_number() -> None:
    reading = only("b/channel/2")
    assert (reading["resistance_ohm"], reading["temperature_c"]) == (None, None)
    assert (reading["quality"], reading["reason"]) == ("absent", "open circuit")


@pytest.mark.parametrize("mark", ["run_ended_early", "parked"])
def test_a_run_that_ended_before_its_plan_was_done_is_not_good(mark: str) -> None:
    facts = facts_after(Entry(1, Kind.MILESTONE, 1.0, 1.8e9, {"mark": mark, "reason": "exchanged"}), _FACTS)
    closed = Entry(2, Kind.CLOSED, 2.0, 1.8e9, {"outcome": State.FINISHED, "entries": 2})
    results = [m for m in messages_of(closed, facts, "b") if m.topic == "b/results"]
    assert json.loads(results[0].payload)["good"] is (mark == "parked")


def test_a_halted_run_has_a_result_that_is_not_good() -> None:
    assert only("b/results")["outcome"] == "parked" and only("b/results")["good"] is False


def test_measuring_itself_is_not_told_since_its_reading_is() -> None:
    measure = Entry(1, Kind.ACTION, 0.0, 0.0, {"do": "measure", "channel": 2, "by": "running"})
    assert not worth_telling(measure) and messages_of(measure, _FACTS, "b") == []


def test_each_payload_has_exactly_what_its_schema_lists() -> None:
    described, seen = schemas(), set()
    for message in [*told(), status("b", 1, 1.8e9, online=True, reason="connected")]:
        name = message.topic.removeprefix("b/").split("/")[0]
        schema = next(described[topic.name] for topic in TREE if topic.name.split("/")[0] == name)
        payload = json.loads(message.payload)
        assert set(payload) == set(schema["properties"]) == set(schema["required"])
        assert schema["additionalProperties"] is False
        seen.add(name)
    assert seen | {"source"} == {topic.name.split("/")[0] for topic in TREE}


def test_the_documents_of_what_is_told_are_what_the_code_says(capsys: pytest.CaptureFixture[str]) -> None:
    for options, name in (([], "messages.md"), (["--json"], "messages.json")):
        assert main(["broker", "--messages", *options]) == 0
        assert (TELEMETRY / name).read_text("utf-8") == capsys.readouterr().out


def test_the_document_names_every_topic_and_every_field() -> None:
    words = (TELEMETRY / "messages.md").read_text("utf-8")
    for topic in TREE:
        part = words.partition(f"### `{topic.name}`")[2].partition("###")[0]
        assert topic.about in part
        assert all(f"| `{name}` |" in part for name in topic.model.model_fields)
