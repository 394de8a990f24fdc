"""What the guardian takes for a dead daemon, and what it does not."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace

import pytest

from daemon.guardian.orders import Limits
from daemon.guardian.watch import DISARMED, Daemon, Watch, tell

SHORT = Limits(dead_after_s=0.1, stale_after_s=60.0)
DIGEST = "d1"


@pytest.fixture
def ends() -> Iterator[tuple[socket.socket, socket.socket]]:
    ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    with ours, theirs:
        yield ours, theirs


def verdict(theirs: socket.socket, limits: Limits = SHORT) -> str:
    with closing(Daemon(theirs)) as daemon:
        return Watch(theirs, daemon, limits, DIGEST).until_the_end()


def beat(cycle: int, judged: int, age_s: float = 0.0, script: str = DIGEST) -> dict[str, object]:
    return {"say": "beat", "cycle": cycle, "judged": judged, "age_s": age_s, "script": script}


def test_a_daemon_that_disarms_ends_the_watch_in_peace(ends: tuple[socket.socket, socket.socket]) -> None:
    ours, theirs = ends
    tell(ours, {"say": DISARMED})
    ours.close()
    assert verdict(theirs) == DISARMED


def test_an_end_without_disarming_is_a_death(ends: tuple[socket.socket, socket.socket]) -> None:
    ours, theirs = ends
    tell(ours, beat(1, 1))
    ours.close()
    assert "socket was closed" in verdict(theirs)


def test_silence_is_a_death(ends: tuple[socket.socket, socket.socket]) -> None:
    assert "no new control cycle" in verdict(ends[1])


def test_beats_that_repeat_one_cycle_are_no_sign_of_life(ends: tuple[socket.socket, socket.socket]) -> None:
    ours, theirs = ends
    for _ in range(50):
        tell(ours, beat(7, 7))
    assert "last was cycle 7" in verdict(theirs)


def test_cycles_on_old_readings_are_a_death(ends: tuple[socket.socket, socket.socket]) -> None:
    ours, theirs = ends
    tell(ours, beat(1, 1, age_s=61.0))
    assert "newest reading is 61" in verdict(theirs)


def test_an_age_that_is_no_number_is_a_death(ends: tuple[socket.socket, socket.socket]) -> None:
    ours, theirs = ends
    ours.send(b'{"say":"beat","cycle":1,"judged":1,"age_s":NaN,"script":"d1"}')
    assert "newest reading is nan" in verdict(theirs)


def test_cycles_in_which_no_guard_judges_are_a_death(ends: tuple[socket.socket, socket.socket]) -> None:
    limits = replace(SHORT, dead_after_s=5.0, stale_after_s=0.05)
    ours, theirs = ends
    tell(ours, beat(1, 1, age_s=-10.0))
    assert "judged nothing" in verdict(theirs, limits)


def test_a_daemon_that_means_another_park_script_is_a_death(
    ends: tuple[socket.socket, socket.socket],
) -> None:
    ours, theirs = ends
    tell(ours, beat(1, 1, script="d2"))
    assert "another park script" in verdict(theirs)


@pytest.mark.parametrize(
    "noise", [b"\xff\x00", b"[]", b"{}", b'{"say":"beat"}', b'{"say":"beat","cycle":"x"}']
)
def test_what_is_no_beat_neither_counts_nor_harms(
    ends: tuple[socket.socket, socket.socket], noise: bytes
) -> None:
    ours, theirs = ends
    ours.send(noise)
    assert "last was cycle -1" in verdict(theirs)


def test_the_guardian_starts_with_the_standard_library_only() -> None:
    code = "import sys, daemon.guardian.__main__; print(*sys.modules)"
    root = os.getcwd()
    told = subprocess.run(
        [sys.executable, "-S", "-s", "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env={"PYTHONPATH": root},
    )
    modules = {name.split(".")[0] for name in told.stdout.split()}
    assert modules <= sys.stdlib_module_names | {"daemon", "__main__", "sitecustomize"}
    assert not {"asyncio", "subprocess", "sqlite3", "logging"} & modules
    ours = [name for name in told.stdout.split() if name.startswith("daemon.")]
    assert all(name.startswith("daemon.guardian") for name in ours)
