"""`ohmvigil instruments` and `ohmvigil simulate`, as a person at the bench meets them."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from daemon.cli import main
from tests.conversation.scripted import Responder, SmallBath
from tests.conversation.served import on_tcp

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "plans" / "examples"


@contextmanager
def bath() -> Iterator[tuple[Responder, SmallBath, str]]:
    small = SmallBath()
    far_end = Responder(small, delay_s=0.0)
    with on_tcp(far_end) as port:
        yield far_end, small, f"tcp://127.0.0.1:{port}"


@contextmanager
def simulated(*options: str) -> Iterator[dict[str, str]]:
    """The short plan's instruments, served by the command in a process of its own; ended by a signal."""
    words = ["simulate", str(EXAMPLES / "short.toml"), "--json", *options]
    with subprocess.Popen([sys.executable, "-m", "daemon", *words], cwd=ROOT, stdout=subprocess.PIPE) as ran:
        assert ran.stdout is not None
        try:
            text = b"".join(iter(ran.stdout.readline, b"}\n"))
            yield json.loads(text + b"}")["addresses"]
        finally:
            ran.send_signal(signal.SIGINT)
        assert ran.wait(10.0) == 0


def test_the_list_knows_profiles_and_ports_and_asks_no_visa_unless_told(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["instruments", "list", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert listed["profiles"] == ["ascii-bath", "modbus-block", "text-bridge"]
    assert listed["visa"] is None


def test_who_answers_is_said_and_nothing_else_is_sent(capsys: pytest.CaptureFixture[str]) -> None:
    with bath() as (far_end, _, address):
        assert main(["instruments", "identify", "ascii-bath", address]) == 0
    assert "model EXBATH, serial 0007" in capsys.readouterr().out
    assert {data[3:5] for data in far_end.said} == {b"ID"}


def test_a_trial_only_reads_until_writing_is_allowed(capsys: pytest.CaptureFixture[str]) -> None:
    with bath() as (far_end, small, address):
        assert main(["instruments", "try", "ascii-bath", address]) == 0
        assert {data[3:5] for data in far_end.said} <= {b"ID", b"RA", b"RS", b"RR", b"RU"}
        shown = capsys.readouterr().out
        assert "9 of 9 work" in shown and "answers ramp: ramp 5 K/min" in shown
        assert main(["instruments", "try", "ascii-bath", address, "--writes"]) == 0
    assert small.heater == 0
    assert "makes itself safe: heater off" in capsys.readouterr().out


def test_a_trial_says_what_does_not_work(capsys: pytest.CaptureFixture[str]) -> None:
    with bath() as (_, small, address):
        small.deaf = True
        assert main(["instruments", "try", "ascii-bath", address, "--writes", "--json"]) == 1
    tried = json.loads(capsys.readouterr().out)
    assert [found["law"] for found in tried["findings"] if not found["holds"]] == ["makes itself safe"]


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (
            "timeout_s = 0.5",
            "timeout_s = 0",
            "own.toml, [link], timeout_s: expected a number from 0.01 to 60",
        ),
        ("limits = [-40.0, 300.0]", "", "own.toml, [write.set_point], limits: is missing"),
        ('check = "xor8"', 'chek = "xor8"', "own.toml, [link.frame], check: is missing"),
        ("resolution_k", "resolution_c", "own.toml, [heat_source], resolution_k: is missing"),
    ],
)
def test_a_fault_in_a_profile_is_shown_by_file_table_and_key(
    before: str, after: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (ROOT / "drivers" / "profiles" / "ascii-bath.toml").read_text("utf-8")
    (tmp_path / "own.toml").write_text(text.replace(before, after), "utf-8")
    assert main(["instruments", "try", str(tmp_path / "own.toml"), "tcp://127.0.0.1:1"]) == 2
    assert words in capsys.readouterr().err


@pytest.mark.parametrize("address", ["pigeon:1", "tcp://nowhere", "serial:"])
def test_an_address_of_no_known_form_is_refused(address: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["instruments", "identify", "ascii-bath", address]) == 2
    assert "REFUSED: address" in capsys.readouterr().err


def test_nobody_at_an_address_is_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["instruments", "identify", "ascii-bath", "tcp://127.0.0.1:1"]) == 1
    assert "cannot connect" in capsys.readouterr().out


def test_simulated_instruments_are_served_tried_and_ended_by_a_signal(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with simulated("--source", "pty") as addresses:
        assert addresses["source"].startswith("serial:/dev/")
        assert main(["instruments", "try", "ascii-bath", addresses["source"], "--writes"]) == 0
        assert main(["instruments", "identify", "text-bridge", addresses["bridge"]]) == 0
    assert "11 of 11 work" in capsys.readouterr().out


def test_a_fault_can_be_ordered_for_served_instruments(capsys: pytest.CaptureFixture[str]) -> None:
    with simulated("--fault", "wrong-identity@0:00=bridge") as addresses:
        assert main(["instruments", "identify", "text-bridge", addresses["bridge"]]) == 0
    assert "serial 0057" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [(["--fault", "meteor@1:00"], "unknown fault"), (["--factor", "nan"], "time factor")],
)
def test_what_cannot_be_simulated_is_refused(
    words: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["simulate", str(EXAMPLES / "short.toml"), *words]) == 2
    assert sentence in capsys.readouterr().err
