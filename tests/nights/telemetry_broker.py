"""A real Mosquitto on a free loopback port, a reader that remembers, and entries to send."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from daemon.journal.entry import Entry, Kind
from daemon.telemetry.settings import MqttSettings, parse_mqtt_address

PATIENCE_S = 20.0
"""How long a test waits for something that takes milliseconds on a quiet machine."""

_PROGRAM = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
_OPEN = "allow_anonymous true\n"


def free_port() -> int:
    """A loopback port that nobody listens on."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port: int = one.getsockname()[1]
        return port


class Mosquitto:
    """One broker that can be killed and started again on the same port with the same memory."""

    def __init__(self, folder: Path, rules: str = _OPEN) -> None:
        if _PROGRAM is None:
            pytest.skip("the broker mosquitto is not installed, so nothing can be sent to it")
        self.port = free_port()
        self._config = folder / "mosquitto.conf"
        user = "user root\n" if os.geteuid() == 0 else ""
        self._config.write_text(
            f"listener {self.port} 127.0.0.1\n{user}{rules}persistence true\npersistence_location {folder}/\n"
            "autosave_interval 50\nautosave_on_changes true\nmax_queued_messages 0\nset_tcp_nodelay true\n"
            "connection_messages false\nlog_dest stderr\nlog_type information\n"
        )
        self._process: subprocess.Popen[str] | None = None
        self._log = threading.Thread()

    def start(self) -> None:
        """Returns when the broker listens."""
        command = [str(_PROGRAM), "-c", str(self._config)]
        self._process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
        assert self._process.stderr is not None
        said = []
        for line in self._process.stderr:
            said.append(line)
            if line.rstrip().endswith("running"):
                # A pipe that nobody empties would stop the broker.
                self._log = threading.Thread(target=self._process.stderr.read)
                self._log.start()
                return
        raise AssertionError(f"mosquitto did not start: {said}")

    def send(self, number: signal.Signals) -> None:
        """Send a signal to the broker."""
        assert self._process is not None
        self._process.send_signal(number)

    def end(self, number: signal.Signals = signal.SIGKILL) -> None:
        """End the broker and wait until it is gone."""
        if self._process is not None:
            self.send(number)
            self._process.wait(PATIENCE_S)
            self._log.join(PATIENCE_S)
            assert self._process.stderr is not None
            self._process.stderr.close()
            self._process = None


@contextmanager
def broker(folder: Path, rules: str = _OPEN) -> Iterator[Mosquitto]:
    """A running broker, gone afterwards."""
    one = Mosquitto(folder, rules)
    one.start()
    try:
        yield one
    finally:
        one.end()


def settings_for(port: int, query: str = "", scheme: str = "mqtt", **environment: str) -> MqttSettings:
    """Settings with short waits."""
    address = f"{scheme}://127.0.0.1:{port}/tern-rock{query}"
    settings = parse_mqtt_address(address, "Thermometry bench", environment)
    return replace(settings, first_wait_s=0.05, longest_wait_s=0.2, answer_s=2.0)


class Reader:
    """Remembers every message under `ohmvigil/`, also over a restart of the broker."""

    def __init__(self, port: int, name: str = "reader") -> None:
        self.messages: list[tuple[str, str, bool]] = []
        self._told: dict[str, list[dict[str, Any]]] = {}
        self._change = threading.Condition()
        self._subscribed = False
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=name, clean_session=False)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_connect = lambda client, *_: client.subscribe("ohmvigil/#", qos=1)
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self.until(lambda: self._subscribed)

    def until(self, condition: Callable[[], bool]) -> None:
        """Wait for a condition on what has arrived."""
        with self._change:
            assert self._change.wait_for(condition, PATIENCE_S), f"only this arrived: {self.messages[-5:]}"

    def on(self, topic: str) -> list[dict[str, Any]]:
        """Payloads of one topic below the bench, in the order of arrival."""
        return self._told.get(f"ohmvigil/tern-rock/thermometry-bench/{topic}", [])

    def event_numbers(self) -> list[int]:
        """Numbers of the events as every reader should take them: a repeat is dropped."""
        numbers = [0]
        for event in self.on("event"):
            if event["seq"] > numbers[-1]:
                numbers.append(event["seq"])
        return numbers[1:]

    def statuses(self) -> list[str]:
        """What the status topic said, in order."""
        return [payload["status"] for payload in self.on("status")]

    def close(self) -> None:
        """Go away."""
        self._client.disconnect()
        self._client.loop_stop()

    def _on_subscribe(self, *_: object) -> None:
        with self._change:
            self._subscribed = True
            self._change.notify_all()

    def _on_message(self, _client: object, _data: object, message: mqtt.MQTTMessage) -> None:
        with self._change:
            self.messages.append((message.topic, message.payload.decode(), message.retain))
            if message.payload:
                self._told.setdefault(message.topic, []).append(json.loads(message.payload))
            self._change.notify_all()


@contextmanager
def reading(port: int, name: str = "reader") -> Iterator[Reader]:
    """A reader that goes away afterwards."""
    reader = Reader(port, name)
    try:
        yield reader
    finally:
        reader.close()


class Told:
    """Remembers what telemetry says is wrong."""

    def __init__(self) -> None:
        self.problems: list[str] = []
        self._change = threading.Condition()

    def __call__(self, problem: str) -> None:
        with self._change:
            self.problems.append(problem)
            self._change.notify_all()

    def until(self, words: str) -> None:
        """Wait until something was said that has these words in it."""
        with self._change:
            said = self._change.wait_for(
                lambda: any(words in problem for problem in self.problems), PATIENCE_S
            )
            assert said, self.problems


def word(seq: int) -> Entry:
    """An operator's word as entry number `seq`: a message of which every one counts."""
    body = {"word": "acknowledge", "who": "the night watch", "reason": ""}
    return Entry(seq, Kind.OPERATOR, float(seq), 1.8e9 + seq, body)


def look(seq: int, when_s: float, temperature_c: float) -> Entry:
    """A look at the source as entry number `seq`: a live reading."""
    names = ("set_point_c", "output_percent", "heater_on", "over_temperature", "stirrer_on", "level_low")
    body = {"what": "source", "at": when_s, "temperature_c": temperature_c, "reason": "", "raw": ""}
    return Entry(seq, Kind.OBSERVATION, when_s, 1.8e9 + when_s, body | dict.fromkeys(names))
