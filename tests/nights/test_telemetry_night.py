"""A whole rehearsed night as a reader at the broker sees it."""

from __future__ import annotations

from pathlib import Path

from daemon.journal.entry import Entry, Kind
from daemon.journal.read import read_entries
from daemon.rehearsal import rehearse
from daemon.telemetry.messages import messages_of
from daemon.telemetry.run_facts import facts_of
from daemon.telemetry.telemetry import Telemetry
from daemon.telemetry.topics import TREE
from plans.loading import load_plan
from tests.nights.telemetry_broker import PATIENCE_S, broker, reading, settings_for

_PLAN = Path(__file__).parents[2] / "plans" / "examples" / "short.toml"
_LIVE = tuple(topic.name.split("/")[0] for topic in TREE if topic.live)


def test_a_night_arrives_completely_and_in_order(tmp_path: Path) -> None:
    record = tmp_path / "night.record"
    with broker(tmp_path) as one, reading(one.port) as reader:
        settings = settings_for(one.port)
        telemetry = Telemetry(settings, tmp_path / "outbox")
        outcome = rehearse(load_plan(_PLAN), record, listeners=[telemetry.listener]).outcome
        assert outcome.good
        assert telemetry.close(PATIENCE_S)
        reader.until(lambda: reader.statuses() == ["online", "offline"])
        arrived = [(topic, payload) for topic, payload, _ in reader.messages]

    entries = list(read_entries(record))
    facts = facts_of(entries[0])
    written = [message for entry in entries for message in messages_of(entry, facts, settings.base)]
    must = [(message.topic, message.payload) for message in written if not message.live]
    may = {(message.topic, message.payload) for message in written if message.live}
    status = f"{settings.base}/status"
    assert [one for one in arrived if one[0] != status and one not in may] == must
    for channel in (1, 2, 3):
        readings = reader.on(f"channel/{channel}")
        numbers = [reading["seq"] for reading in readings]
        assert numbers and numbers == sorted(set(numbers))
        assert {reading["serial"] for reading in readings} == {facts.channels[channel].name}
        # Warm and cold of the plan are seen, as nearly as a display needs it.
        seen_c = [reading["temperature_c"] for reading in readings]
        assert all(-5.0 < temperature_c < 45.0 for temperature_c in seen_c)
    assert reader.on("run")[-1]["state"] == "finished"
    assert reader.on("results") == [
        {**reader.on("results")[0], "outcome": "finished", "good": True, "entries": outcome.entries}
    ]
    assert [reader.on(f"point/{index}")[-1]["phase"] for index in range(3)] == ["finished"] * 3


def test_a_new_run_takes_the_points_of_the_run_before_off_the_broker(tmp_path: Path) -> None:
    texts = load_plan(_PLAN).texts
    body = {"plan": texts.plan, "bench": texts.bench, "register": texts.register}
    body |= {"simulated": True, "program": "0.1.0", "faults": []}
    point = {"mark": "point_finished", "index": 1, "settled": True, "by": "running"}
    with broker(tmp_path) as one, reading(one.port) as reader:
        telemetry = Telemetry(settings_for(one.port), tmp_path / "outbox")
        telemetry.listener(Entry(1, Kind.OPENED, 0.0, 1.80e9, body))
        telemetry.listener(Entry(2, Kind.MILESTONE, 9.0, 1.80e9 + 9.0, point))
        telemetry.listener(Entry(1, Kind.OPENED, 0.0, 1.81e9, body))
        assert telemetry.close(PATIENCE_S)
        reader.until(lambda: reader.statuses() == ["online", "offline"])
        assert (
            reader.on("point/1")[0]["label"] == "point 1" and reader.on("point/1")[0]["temperature_c"] == 40.0
        )
        with reading(one.port, "who comes later") as later:
            later.until(lambda: later.on("run") != [] and later.on("status") != [])
            assert {topic.rsplit("/", 1)[1] for topic, *_ in later.messages} == {"status", "run"}
            assert later.on("run")[0]["run"] == "2027-05-11T01:46:40.000Z"
