"""The daemon's side of the guardian: started, drilled, armed, watched in turn, disarmed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from daemon.guardian import keeper as keeper_module
from daemon.guardian.keeper import GuardianFailed, Keeper, connected, spawned
from daemon.guardian.orders import Limits, Orders, to_text
from daemon.guardian.path import way_of
from daemon.guardian.script import compile_script
from tests.campaigns.guardian import alive, until
from tests.campaigns.guardian_bench import Heard, real_plan, scene
from tests.conversation.served import on_tcp


@contextmanager
def orders(folder: Path, start_c: float = 23.0) -> Iterator[tuple[Orders, Heard]]:
    there = scene("ascii-bath", start_c=start_c)
    there.source.controller.set_point_c = max(60.0, start_c)
    heard = Heard(there.instrument("source"))
    with on_tcp(heard) as port:
        run = real_plan("ascii-bath", f"tcp://127.0.0.1:{port}")
        way = way_of(run)
        limits = Limits(dead_after_s=2.0, recheck_s=0.02)
        yield Orders(way, compile_script(run, way.kind), limits, str(folder / "guardian.log")), heard


def log(folder: Path) -> str:
    path = folder / "guardian.log"
    return path.read_text("utf-8") if path.exists() else ""


def test_a_guardian_is_drilled_armed_and_disarmed_and_then_is_gone(tmp_path: Path) -> None:
    with orders(tmp_path) as (told, _):
        keeper = Keeper(told, spawned)
        assert 0.0 < keeper.drill() < 10.0
        keeper.arm()
        assert keeper.beat(1, 1, 0.0) == ""
        keeper.disarm()
        assert keeper.pid is not None and not alive(keeper.pid)
    assert [line.split("  ")[2].split()[0] for line in log(tmp_path).splitlines()] == [
        "drill",
        "armed:",
        "disarmed",
    ]


def test_a_failed_drill_says_why(tmp_path: Path) -> None:
    with orders(tmp_path, start_c=120.0) as (told, _):
        keeper = Keeper(told, spawned)
        with pytest.raises(GuardianFailed, match="the drill is for a cold source"):
            keeper.drill()
        keeper.disarm()


def test_a_second_guardian_of_the_same_source_is_refused(tmp_path: Path) -> None:
    with orders(tmp_path) as (told, _):
        first = Keeper(told, spawned)
        with pytest.raises(GuardianFailed, match="another guardian is still at work"):
            Keeper(told, spawned)
        first.disarm()


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGSTOP])
def test_a_dead_or_hung_guardian_is_replaced_once_and_the_second_time_the_run_must_park(
    tmp_path: Path, how: signal.Signals, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(keeper_module, "_SILENT_FOR_S", 1.5)
    said: list[str] = []
    with orders(tmp_path) as (told, _):
        keeper = Keeper(told, spawned, said.append)
        keeper.arm()
        reasons = []
        cycles = iter(range(1, 10**6))
        for _ in range(2):
            first = keeper.pid
            assert first is not None
            os.kill(first, how)

            def answered(first: int = first) -> str | None:
                reason = keeper.beat(next(cycles), 1, 0.0)
                return reason if reason or keeper.pid != first else None

            reasons.append(until(answered, "the daemon's notice"))
        assert reasons == ["", "the guardian died a second time"]
        assert said == ["the guardian died and was started anew", "the guardian died a second time"]
        assert keeper.beat(next(cycles), 2, 0.0) == "the guardian died a second time"
        keeper.disarm()


def test_a_guardian_in_a_unit_of_its_own_serves_one_daemon_after_the_other(tmp_path: Path) -> None:
    place = tmp_path / "guardian.sock"
    unit = subprocess.Popen([sys.executable, "-S", "-s", "-m", "daemon.guardian", "--listen", str(place)])
    try:
        until(lambda: True if place.exists() else None, "the guardian's socket")
        with orders(tmp_path) as (told, _):
            for _ in range(2):
                keeper = Keeper(told, connected(place))
                keeper.drill()
                keeper.arm()
                keeper.disarm()
    finally:
        unit.kill()
        unit.wait()
    assert log(tmp_path).count("armed: ") == 2


def test_when_both_are_dead_the_same_program_parks_by_what_was_last_armed(tmp_path: Path) -> None:
    with orders(tmp_path, start_c=120.0) as (told, heard):
        (tmp_path / "armed.json").write_text(to_text(told))
        assert _parked_by_file(tmp_path / "armed.json") == 0
        assert heard.first(b"WS+0040.000") is not None


def test_nothing_is_parked_where_nothing_was_armed(tmp_path: Path) -> None:
    assert _parked_by_file(tmp_path / "armed.json") == 0


def _parked_by_file(path: Path) -> int:
    return subprocess.run(
        [sys.executable, "-S", "-s", "-m", "daemon.guardian", "--park", str(path)]
    ).returncode


def test_what_is_armed_stands_in_the_runtime_folder_until_it_is_disarmed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(tmp_path))
    with orders(tmp_path) as (told, _):
        keeper = Keeper(told, spawned)
        keeper.arm()
        assert (tmp_path / "armed.json").read_text() == to_text(told)
        keeper.disarm()
    assert not (tmp_path / "armed.json").exists()
