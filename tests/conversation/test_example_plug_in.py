"""The example of a driver of one's own works when installed, and keeps the laws."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from drivers.clock import Clock
from drivers.conformance import Finding, try_heat_source
from drivers.registry import open_heat_source
from simulators.virtual_time import run
from tests.conversation.scripted import Responder
from tests.conversation.served import on_tcp

EXAMPLE = Path(__file__).parent / "example_plug_in"
ROOT = EXAMPLE.parents[2]


class SmallKettle:
    """The other side of the example's wire."""

    def __init__(self) -> None:
        self.set_point, self.heater = b"20.0", b"on"

    def __call__(self, data: bytes) -> bytes:
        word, _, value = data.strip().partition(b" ")
        if word == b"set":
            self.set_point = value
        elif word in (b"on", b"off"):
            self.heater = word
        answers = {b"who": b"kettle 3", b"look": b"21.5 " + self.set_point + b" " + self.heater}
        return answers.get(word, data.strip()) + b"\n"


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example built into a wheel and installed into a folder, as a laboratory would."""
    pytest.importorskip("hatchling", reason="builds the example's wheel; pip install '.[test]' brings it")
    source, target = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("installed")
    shutil.copytree(EXAMPLE, source, dirs_exist_ok=True)
    options = ["--quiet", "--no-deps", "--no-build-isolation", "--no-index", "--target", str(target)]
    subprocess.run([sys.executable, "-m", "pip", "install", *options, str(source)], check=True)
    return target


def ohmvigil(installed: Path, *words: str) -> tuple[int, Any]:
    """The command line in a process that finds the installed example; exit code and what it said."""
    paths = os.pathsep.join((str(installed), str(ROOT)))
    ran = subprocess.run(
        [sys.executable, "-m", "daemon", *words, "--json"],
        cwd=installed,
        env=os.environ | {"PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=False,
    )
    return ran.returncode, json.loads(ran.stdout)


def test_the_installed_example_is_listed(installed: Path) -> None:
    code, listed = ohmvigil(installed, "instruments", "list")
    assert code == 0
    assert listed["plug_ins"] == [{"name": "example-kettle", "origin": "example_kettle:Kettle", "fault": ""}]


def test_the_installed_example_is_tried_and_keeps_every_law(installed: Path) -> None:
    with on_tcp(Responder(SmallKettle(), delay_s=0.0)) as port:
        address = f"tcp://127.0.0.1:{port}"
        code, tried = ohmvigil(installed, "instruments", "try", "example-kettle", address, "--writes")
    assert code == 0 and tried["all_hold"]
    assert len(tried["findings"]) == 9


def test_the_example_drives_a_simulated_kettle(installed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    async def main() -> list[Finding]:
        far_ends = {"bench": Responder(SmallKettle())}
        kettle = open_heat_source("example-kettle", "simulated:bench", Clock(), far_ends=far_ends)
        return [finding async for finding in try_heat_source(kettle, writes=True)]

    monkeypatch.syspath_prepend(str(installed))
    assert [finding for finding in run(main()) if not finding.holds] == []


def test_the_example_stays_short() -> None:
    code = (EXAMPLE / "example_kettle.py").read_text("utf-8").splitlines()
    assert sum(1 for line in code if line.strip()) <= 40
