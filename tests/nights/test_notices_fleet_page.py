"""The fleet as a page: all benches of a broker in a browser, those that call first, blindness before all."""

from __future__ import annotations

import http.client
import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from daemon.cli import main
from tests.nights.browser import browsing
from tests.nights.telemetry_broker import broker, free_port

ROOT = Path(__file__).resolve().parents[2]
RUN = "2026-01-15T17:00:00.000Z"


@contextmanager
def watching(port: int) -> Iterator[str]:
    """`watch --page` on a broker; the page's address."""
    address = f"mqtt://127.0.0.1:{port}/tern-rock"
    command = [sys.executable, "-m", "daemon", "watch", address, "--page", "0"]
    said = subprocess.PIPE
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=said, text=True) as watcher:
        assert watcher.stderr is not None
        try:
            yield watcher.stderr.readline().removeprefix("page: ").strip()
        finally:
            watcher.terminate()
            watcher.stderr.read()


def tell(port: int, bench: str, **topics: dict[str, object]) -> None:
    """One bench says something, retained as the daemon does it."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    for number, (topic, values) in enumerate(topics.items(), 1):
        payload = json.dumps({"seq": number, "run": RUN} | values)
        client.publish(f"ohmvigil/tern-rock/{bench}/{topic}", payload, qos=1, retain=True).wait_for_publish()
    client.disconnect()
    client.loop_stop()


def tell_of_three(port: int) -> None:
    """One bench that runs, one that parks and calls, one that has finished."""
    online: dict[str, object] = {"status": "online"}
    tell(port, "bath", status=online, source={"temperature_c": 40.12, "set_point_c": 40.0})
    tell(port, "bath", run={"state": "running", "cause": "started", "title": "one night in the bath"})
    tell(port, "block", status=online, run={"state": "parking", "cause": "over_limit: 451 °C"})
    tell(port, "furnace", status=online, run={"state": "finished", "cause": "the plan is done"})


def test_all_benches_stand_on_one_page_and_who_calls_comes_first(tmp_path: Path) -> None:
    with broker(tmp_path) as one, watching(one.port) as address, browsing(tmp_path / "profile") as page:
        page.open(address)
        tell_of_three(one.port)
        page.until("document.querySelectorAll('article').length === 3")
        page.until("document.querySelector('article').innerText.includes('block is parking')")
        words = page.text("benches").replace("\u00a0", " ")
        assert "3 benches, 1 calling" in words and "source 40.12 °C" in words and "451 °C" in words
        assert page.text("heart-says").startswith("moving")
        assert all(asked.startswith(address) for asked in page.asked if not asked.startswith("data:"))
        one.end()
        page.until("document.getElementById('benches').innerText.startsWith('BLIND')")
        assert page.console == []


def test_a_page_whose_watcher_is_gone_says_so_by_its_own_clock(tmp_path: Path) -> None:
    with broker(tmp_path) as one, browsing(tmp_path / "profile") as page:
        with watching(one.port) as address:
            page.open(address)
            page.until("document.getElementById('heart-says').innerText.startsWith('the watcher is there')")
        page.until(
            "document.getElementById('heart-says').innerText.startsWith('NOTHING HEARD from the watcher')"
        )


def test_the_page_answers_to_this_machine_alone_and_takes_no_orders(tmp_path: Path) -> None:
    with broker(tmp_path) as one, watching(one.port) as address:
        port = int(address.rpartition(":")[2])
        for method, host, code in (
            ("GET", "127.0.0.1", 200),
            ("GET", "elsewhere.example", 403),
            ("POST", "127.0.0.1", 405),
        ):
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10.0)
            connection.request(method, "/", headers={"host": f"{host}:{port}"})
            assert connection.getresponse().status == code
            connection.close()


def test_a_port_that_cannot_be_had_is_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["watch", f"mqtt://127.0.0.1:{free_port()}/tern-rock", "--page", "70000"]) == 2
    assert "--page is a port" in capsys.readouterr().err
