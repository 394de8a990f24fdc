"""The daemon from the terminal: words, status, and a live view that fits into 80 by 24."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from rich.console import Console

from daemon.cli import main
from daemon.cli.service_client import Service
from daemon.cli.status_follow import curve, follow, screen
from tests.nights.served_lab import ServedLab, make_lab, served_lab

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServedLab]:
    with served_lab(make_lab(tmp_path_factory.mktemp("lab"), 120.0)) as served:
        for bench, plan in (("bath", "overnight"), ("block", "block-night")):
            assert main(["submit", bench, plan, "--who", "the night watch", "--lab", str(served.lab)]) == 0
            served.until_readings(bench)
        yield served


def test_words_go_to_the_daemon_and_tell_by_their_exit_code_whether_they_changed_anything(
    lab: ServedLab, capsys: pytest.CaptureFixture[str]
) -> None:
    at = ["--lab", str(lab.lab), "--who", "the night watch"]
    assert main(["hold", "block", "--reason", "to look at it", *at]) == 0
    lab.until("block", lambda b: b["run"]["state"] == "holding")
    assert main(["hold", "block", *at]) == 1
    assert main(["status", "--lab", str(lab.lab)]) == 1
    assert "CALLS FOR A PERSON: Tern Rock block bench is holding" in capsys.readouterr().out
    assert main(["acknowledge", "block", *at]) in (0, 1)
    assert main(["release", "block", *at]) == 0
    lab.until("block", lambda b: b["run"]["state"] == "running")
    assert main(["status", "--json", "--lab", str(lab.lab)]) == 0


def test_cut_is_said_from_the_terminal_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with served_lab(make_lab(tmp_path, 120.0)) as own:
        own.submit("block", "block-night")
        own.until_readings("block")
        at = ["--lab", str(own.lab), "--who", "the night watch"]
        assert main(["cut", "block", "--reason", "smell of burning", *at]) == 0
        own.until("block", lambda b: b["run"]["state"] == "cut")
        assert main(["release", "block", *at]) == 1
        assert main(["status", "--lab", str(own.lab)]) == 1
        assert "CALLS FOR A PERSON" in capsys.readouterr().out


def test_a_refusal_is_a_sentence_and_exit_code_2(
    lab: ServedLab, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    at = ["--lab", str(lab.lab)]
    assert main(["submit", "block", "too-hot", *at]) == 2
    assert "may see 450 °C at most" in capsys.readouterr().err
    assert main(["halt", "none", *at]) == 2
    assert "there is no bench 'none'" in capsys.readouterr().err
    assert main(["status", "--lab", str(tmp_path / "lab.toml")]) == 2
    assert "no daemon serves" in capsys.readouterr().err


def test_the_live_view_fits_into_80_by_24_with_two_benches_at_work(lab: ServedLab) -> None:
    out = io.StringIO()
    console = Console(file=out, width=80, height=24, force_terminal=False, highlight=False)
    assert follow(Service(lab.lab), console, looks=1) == 0
    lines = out.getvalue().rstrip("\n").splitlines()
    assert len(lines) <= 24 and max(map(len, lines)) <= 80
    words = "\n".join(lines)
    assert "bath  RUNNING" in words and "block  RUNNING" in words and "TR-REF-01" in words
    assert any(level in words for level in "▂▃▄▅▆▇█") and "K\n" in words


def test_a_run_that_has_ended_is_one_line_and_no_alarm() -> None:
    run = {"title": "a night", "state": "finished", "elapsed_s": 3600.0, "quiet_s": 999.0, "channels": []}
    bench = {"id": "bath", "standing": "free", "sentence": "the run is finished", "calls": "", "run": run}
    console = Console(file=io.StringIO(), width=80, height=24, force_terminal=False)
    console.print(screen({"lab": "Tern Rock", "utc": "", "benches": [bench]}))
    words = console.file.getvalue()  # type: ignore[attr-defined]
    assert "last run: a night: finished after 1 h 00 min" in words and "NOTHING NEW" not in words


def test_a_live_view_without_its_daemon_says_so(tmp_path: Path) -> None:
    with served_lab(make_lab(tmp_path)) as gone:
        service = Service(gone.lab)
    out = io.StringIO()
    console = Console(file=out, width=80, height=24, force_terminal=False)
    follow(service, console, looks=1)
    assert "NOTHING HEARD" in out.getvalue() and "its own switch" in " ".join(out.getvalue().split())


def test_the_small_curve_shows_shape_and_stands_nothing_on_its_head() -> None:
    assert curve([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0]) == "▁▂▃▄▅▆▇█"
    assert curve([5.0, 5.0]) == "▁▁" and curve([]) == ""
    assert len(curve([float(n) for n in range(500)])) == 24


def test_a_word_loads_nothing_heavy() -> None:
    command = [sys.executable, "-X", "importtime", "-m", "daemon", "halt", "--help"]
    loaded = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stderr
    names = {line.rsplit("|", 1)[-1].strip().split(".")[0] for line in loaded.splitlines() if "|" in line}
    assert names.isdisjoint({"numpy", "pydantic", "asyncio", "starlette", "uvicorn", "rich", "apprise"})


def test_serve_says_its_address_and_ends_in_order_at_a_signal(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "daemon", "serve", str(make_lab(tmp_path))]
    with subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as serving:
        assert serving.stdout is not None
        assert serving.stdout.readline().startswith("Tern Rock: http://127.0.0.1:")
        serving.terminate()
        _, errors = serving.communicate(timeout=60)
    assert serving.returncode == 0
    lines = [json.loads(line) for line in errors.splitlines() if line.startswith("{")]
    assert {"started", "stopped"} <= {line["says"] for line in lines}
    assert all(line["t"].endswith("+00:00") and line["level"] for line in lines)


def test_a_lab_file_that_cannot_be_used_is_refused_in_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = make_lab(tmp_path)
    path.write_text(path.read_text("utf-8").replace('id = "block"', 'id = "bath"'), encoding="utf-8")
    assert main(["serve", str(path)]) == 2
    assert "given twice" in capsys.readouterr().err
    assert main(["serve", str(tmp_path / "none.toml")]) == 2


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("http://broker.example", "begins with mqtt://"),
        ("mqtt://127.0.0.1/tern-rock?user=a&password_file=none", "none cannot be read"),
        ("mqtt://127.0.0.1/tern-rock?bench=bath", "Two benches would both"),
    ],
)
def test_a_broker_that_cannot_be_told_is_found_before_the_night(
    address: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = make_lab(tmp_path, extra=f'\n[mqtt]\naddress = "{address}"\n')
    assert main(["serve", str(path)]) == 2
    assert words in capsys.readouterr().err
