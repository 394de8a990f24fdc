"""The program's own broker: on loopback alone, loses nothing, and says when it cannot serve."""

from __future__ import annotations

import importlib.util
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.telemetry.telemetry import Telemetry
from tests.nights.telemetry_broker import PATIENCE_S, free_port, reading, settings_for, word

ROOT = Path(__file__).resolve().parents[2]

if importlib.util.find_spec("amqtt") is None:
    pytest.skip("the package of the program's own broker is not installed", allow_module_level=True)


@contextmanager
def own_broker(port: int) -> Iterator[subprocess.Popen[str]]:
    """The command, once it listens; gone afterwards."""
    command = [sys.executable, "-m", "daemon", "broker", "--port", str(port)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as broker:
        assert broker.stdout is not None
        assert broker.stdout.readline().startswith("MQTT broker for this machine alone")
        try:
            yield broker
        finally:
            broker.kill()


def test_a_bench_tells_its_own_broker_and_a_later_reader_hears_the_state(tmp_path: Path) -> None:
    port = free_port()
    with own_broker(port), reading(port) as reader:
        telemetry = Telemetry(settings_for(port), tmp_path / "outbox")
        for seq in range(1, 201):
            telemetry.listener(word(seq))
        reader.until(lambda: len(reader.on("event")) == 200)
        with reading(port, "who comes later") as later:
            # It hands out a retained message more than once; its number tells that it is the same.
            later.until(lambda: {one["seq"] for one in later.on("status")} == {1})
        assert telemetry.close(PATIENCE_S)
        reader.until(lambda: reader.statuses()[-1:] == ["offline"])
        assert reader.event_numbers() == list(range(1, 201))


def test_a_broker_that_is_killed_and_started_again_loses_nothing(tmp_path: Path) -> None:
    port = free_port()
    telemetry = Telemetry(settings_for(port), tmp_path / "outbox")
    with own_broker(port), reading(port) as reader:
        telemetry.listener(word(1))
        reader.until(lambda: len(reader.on("event")) == 1)
    for seq in range(2, 101):
        telemetry.listener(word(seq))
    assert not telemetry.close(PATIENCE_S) and telemetry.waiting == 99
    with own_broker(port), reading(port, "who listens again") as reader:
        telemetry = Telemetry(settings_for(port), tmp_path / "outbox")
        reader.until(lambda: reader.event_numbers() == list(range(2, 101)))
        assert telemetry.close(PATIENCE_S)
        assert telemetry.waiting == 0 and telemetry.lost == 0


def test_it_listens_on_loopback_alone_and_ends_in_order(tmp_path: Path) -> None:
    port = free_port()
    with own_broker(port) as broker:
        entry = f":{port:04X}"
        tables = [Path(f"/proc/{broker.pid}/net/{name}").read_text("ascii") for name in ("tcp", "tcp6")]
        rows = [line.split() for table in tables for line in table.splitlines()[1:]]
        listening = [row[1] for row in rows if row[1].endswith(entry) and row[3] == "0A"]
        assert listening == [f"0100007F{entry}"]
        broker.send_signal(signal.SIGTERM)
        assert broker.wait(PATIENCE_S) == 0


def test_a_port_that_is_taken_is_a_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    port = free_port()
    with own_broker(port):
        assert main(["broker", "--port", str(port)]) == 2
    assert f"no broker can listen on 127.0.0.1:{port}" in capsys.readouterr().err
    assert main(["broker", "--port", "0"]) == 2
