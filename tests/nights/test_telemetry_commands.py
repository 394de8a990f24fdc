"""Hold and halt by MQTT: only where they are allowed, only these two, only now."""

from __future__ import annotations

import json
import threading
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.enums import CallbackAPIVersion

from daemon.telemetry.command import LATEST_S, NoCommand, command_of
from daemon.telemetry.run_facts import utc_text
from daemon.telemetry.telemetry import Telemetry
from drivers.clock import Clock
from plans.lab import Mqtt
from tests.nights.served_lab import make_lab, served_lab
from tests.nights.telemetry_broker import PATIENCE_S, Reader, broker, reading, settings_for, word

NOW_S = 1.8e9


def said(now_s: float = NOW_S, **values: object) -> bytes:
    return json.dumps({"t": utc_text(now_s), "word": "halt", "who": "the night watch"} | values).encode()


@pytest.mark.parametrize("word", ["hold", "halt"])
def test_hold_and_halt_are_taken_with_who_and_why(word: str) -> None:
    command = command_of(said(word=word, reason="smell of oil"), NOW_S, retained=False)
    assert (command.word, command.who, command.reason) == (word, "the night watch", "smell of oil")


@pytest.mark.parametrize(
    "payload",
    [
        said(word="release"), said(word="cut"), said(word="acknowledge"), said(word="submit"), said(who=""),
        said(who="a\n"), said(more=1), said(t="now"), said(reason="x" * 5000), b"", b"halt", b"[]", b"\xff",
        said(NOW_S - LATEST_S - 1.0), said(NOW_S + LATEST_S + 1.0),
    ],
)  # fmt: skip
def test_nothing_else_is_taken(payload: bytes) -> None:
    with pytest.raises(NoCommand):
        command_of(payload, NOW_S, retained=False)


def test_a_lab_file_that_does_not_say_so_allows_none() -> None:
    assert not Mqtt(address="mqtt://127.0.0.1/tern-rock").commands


def test_what_a_broker_kept_was_said_of_another_moment() -> None:
    with pytest.raises(NoCommand, match="kept"):
        command_of(said(), NOW_S, retained=True)


@given(payload=st.binary(max_size=300))
def test_whatever_comes_is_a_command_or_passed_over(payload: bytes) -> None:
    with pytest.raises(NoCommand):
        command_of(payload, NOW_S, retained=False)


def publish(port: int, bench: str, *payloads: tuple[bytes, bool]) -> None:
    """Send commands to a bench, each confirmed by the broker."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    for payload, retain in payloads:
        told = client.publish(f"ohmvigil/tern-rock/{bench}/command", payload, qos=1, retain=retain)
        told.wait_for_publish(PATIENCE_S)
    client.disconnect()
    client.loop_stop()


def test_over_a_broker_only_what_may_be_said_arrives_and_only_where_somebody_hears(tmp_path: Path) -> None:
    heard: list[tuple[str, str, str]] = []
    came, bench = threading.Event(), "thermometry-bench"

    def hear(*command: str) -> None:
        heard.append(command)  # type: ignore[arg-type]
        came.set()

    now_s = Clock().utc_s()
    with broker(tmp_path) as one, reading(one.port) as reader:
        publish(one.port, bench, (said(now_s, who="kept"), True))
        deaf = Telemetry(settings_for(one.port, "?bench=deaf"), tmp_path / "deaf")
        telemetry = Telemetry(settings_for(one.port), tmp_path / "outbox", hear=hear)
        telemetry.listener(word(1))
        reader.until(lambda: len(reader.on("event")) == 1)
        publish(one.port, "deaf", (said(now_s), False))
        publish(one.port, bench, (said(now_s, word="cut"), False), (said(now_s, word="hold"), False))
        assert came.wait(PATIENCE_S)
        assert telemetry.close(PATIENCE_S) and deaf.close(PATIENCE_S)
    assert heard == [("hold", "the night watch", "")]


def test_a_run_of_the_daemon_is_halted_from_afar_where_its_lab_file_allows_it(tmp_path: Path) -> None:
    with broker(tmp_path) as one:
        address = f"mqtt://127.0.0.1:{one.port}/tern-rock"
        extra = f'\n[mqtt]\naddress = "{address}"\ncommands = true\n'
        with served_lab(make_lab(tmp_path, 600.0, extra)) as lab, reading(one.port) as reader:
            lab.submit("bath", "overnight")
            reader.until(lambda: said_of(reader, "run_started"))
            publish(one.port, "tern-rock-bath-bench", (said(Clock().utc_s()), False))
            reader.until(lambda: said_of(reader, "the night watch, by MQTT"))
            reader.until(lambda: said_of(reader, "the night watch, by MQTT said halt"))


def said_of(reader: Reader, words: str) -> bool:
    """Whether an event of the bath's bench says so."""
    topic = "ohmvigil/tern-rock/tern-rock-bath-bench/event"
    return any(told == topic and words in payload for told, payload, _ in reader.messages)
