"""The live views in a real terminal multiplexer at 80 by 24: nothing wraps, scrolls or is cut off."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import takewhile
from pathlib import Path

import pytest

from tests.nights.served_lab import PATIENCE_S, make_lab, served_lab
from tests.nights.test_resume import ROOT

_PROGRAM = shutil.which("tmux")


class Terminal:
    """One pane of a tmux server of its own."""

    def __init__(self, socket: Path, *command: str) -> None:
        self._socket = socket
        quoted = " ".join(f"'{word}'" for word in command)
        self._tmux("-f", os.devnull, "new-session", "-d", "-x", "80", "-y", "24", "-c", str(ROOT), quoted)

    def lines(self) -> list[str]:
        """What stands on the screen, by line, blanks at the end left out."""
        return [line.rstrip() for line in self._tmux("capture-pane", "-p").splitlines()]

    def until(self, condition: Callable[[str], bool]) -> list[str]:
        """The screen once the condition holds for it."""
        asked = threading.Event()
        for _ in range(int(PATIENCE_S / 0.1)):
            lines = self.lines()
            if condition("\n".join(lines)):
                return lines
            asked.wait(0.1)  # never set: a look at the condition is put off
        raise AssertionError("\n".join(lines))

    def end(self) -> None:
        """End this server."""
        self._tmux("kill-server")

    def _tmux(self, *words: str) -> str:
        command = [str(_PROGRAM), "-S", str(self._socket), *words]
        environment = os.environ | {"PYTHONPATH": str(ROOT), "LC_ALL": "C.UTF-8", "TERM": "xterm-256color"}
        return subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout


@contextmanager
def terminal(socket: Path, *words: str) -> Iterator[Terminal]:
    """The program in a terminal of its own, gone afterwards."""
    if _PROGRAM is None:
        pytest.skip("tmux is not installed, so there is no terminal to look at")
    one = Terminal(socket, sys.executable, "-m", "daemon", *words)
    try:
        yield one
    finally:
        one.end()


def test_a_lab_is_followed_at_80_by_24(tmp_path: Path) -> None:
    with served_lab(make_lab(tmp_path, 120.0)) as lab:
        for bench, plan in (("bath", "overnight"), ("block", "block-night")):
            lab.submit(bench, plan)
            lab.until_readings(bench)
        with terminal(tmp_path / "tmux", "status", "--follow", "--lab", str(lab.lab)) as shown:
            lines = shown.until(lambda words: "block  RUNNING" in words and "°C" in words)
            assert lines[0].startswith("Tern Rock") and "bath  RUNNING" in "\n".join(lines)
            readings = [line for line in lines if line.endswith(("mK", " K"))]
            assert len(readings) == 14, "both benches' thermometers have room"
            before = lines
            shown.until(lambda words: words.splitlines() != before)


def test_a_night_is_watched_at_80_by_24(tmp_path: Path) -> None:
    plan, record = ROOT / "plans" / "examples" / "overnight.toml", tmp_path / "night.record"
    with terminal(tmp_path / "tmux", "run", str(plan), "--record", str(record)) as shown:
        first = shown.until(lambda words: "equilibrium" in words)
        then = shown.until(lambda words: words.splitlines() != first)
        assert max(map(len, [*first, *then])) <= 80
        cautions = list(takewhile(lambda line: "now running" not in line, first))
        assert cautions, "the cautions stand above the night"
        assert all(line.startswith(("CAUTION  ", " " * 9)) for line in cautions), "no word is broken"
