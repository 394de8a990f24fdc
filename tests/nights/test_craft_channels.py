"""At load-up each thermometer is warmed by hand: the channel that moves must be the one of the plan."""

from __future__ import annotations

import asyncio
import json
import re
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from daemon.channel_test import Found, refusals
from daemon.cli import main
from daemon.cli.channels import by_hand
from daemon.rehearsal import make_scene, rehearse_channel_test, served, simulation_of
from drivers.clock import ScaledClock
from plans.loading import load_plan
from plans.run_plan import RunPlan
from simulators.scene import Scene
from tests.nights.rehearsed import EXAMPLES
from tests.nights.served_night import with_addresses

PLAN = EXAMPLES / "overnight.toml"
FACTOR = 60.0
Hand = Callable[[str], str]


@contextmanager
def bench_on_tcp(plan: RunPlan, *faults: str) -> Iterator[tuple[RunPlan, Hand]]:
    """The plan's bridge on a socket, and the hand of whoever is asked to warm a thermometer."""
    scene, ready, leave = make_scene(plan, faults), threading.Event(), asyncio.Event()
    found: dict[str, str] = {}
    loop = asyncio.new_event_loop()

    async def serve() -> None:
        async with served(scene, {"bridge": "tcp"}, FACTOR) as addresses:
            found.update(addresses)
            ready.set()
            await leave.wait()

    thread = threading.Thread(target=lambda: loop.run_until_complete(serve()))
    thread.start()
    try:
        assert ready.wait(30.0)
        nobody_there = {"source": "tcp://127.0.0.1:9"}  # the heat source is not spoken to
        yield with_addresses(plan, found | nobody_there), hand(scene, loop)
    finally:
        loop.call_soon_threadsafe(leave.set)
        thread.join()
        loop.close()


def hand(scene: Scene, loop: asyncio.AbstractEventLoop) -> Hand:
    """Does what it is asked: takes one thermometer, and lets go of the one before."""
    held: list[str] = []

    def ask(request: str) -> str:
        (serial,) = re.findall(r"the tip of (\S+) in your hand", request)
        if held:
            loop.call_soon_threadsafe(scene.truth(held.pop()).warm, -6.0)
        held.append(serial)
        loop.call_soon_threadsafe(scene.truth(serial).warm, 6.0)
        return ""

    return ask


@pytest.mark.parametrize("faults", [(), ("swapped-channels@0:00=2:3",)])
def test_at_a_bench_on_sockets_a_person_is_asked_and_an_exchanged_pair_is_refused(
    faults: tuple[str, ...],
) -> None:
    plan = load_plan(EXAMPLES / "short.toml")
    with bench_on_tcp(plan, *faults) as (real, ask):
        found = by_hand(real, ScaledClock(FACTOR, simulation_of(plan).start_utc), ask)
    assert [one.serial for one in found] == ["TR-REF-01", "TR-IPRT-11", "TR-CHK-31"]
    wrong = list(refusals(found))
    assert len(wrong) == len(faults)
    assert all("TR-IPRT-11 and TR-CHK-31 are exchanged" in sentence for sentence in wrong)


def test_every_thermometer_is_found_on_its_channel() -> None:
    found = rehearse_channel_test(load_plan(PLAN))
    assert len(found) == 7 and all(one.good for one in found)
    assert all(one.rise_k == pytest.approx(6.0, abs=0.5) for one in found)
    assert list(refusals(found)) == []


def test_an_exchanged_pair_is_refused_and_named_once(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["channels", str(PLAN), "--fault", "swapped-channels@0:00=2:3"]) == 2
    (sentence,) = capsys.readouterr().err.splitlines()
    assert "TR-IPRT-11 and TR-IPRT-12 are exchanged: channel 3 moved for the first" in sentence


def test_a_thermometer_whose_lead_is_open_moves_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["channels", str(PLAN), "--fault", "open-lead@0:00=4", "--json"]) == 2
    said = json.loads(capsys.readouterr().out)
    assert [row["serial"] for row in said["thermometers"] if not row["good"]] == ["TR-IPRT-13"]
    assert "not connected, or not warmed enough" in said["problems"][0]


def test_three_in_a_ring_are_each_named() -> None:
    ring = [Found("A", 1, 2, 5.0), Found("B", 2, 3, 5.0), Found("C", 3, 1, 5.0)]
    assert [sentence.split(";")[0] for sentence in refusals(ring)] == [
        "channel 2 moved while A was warmed",
        "channel 3 moved while B was warmed",
        "channel 1 moved while C was warmed",
    ]


def test_a_fault_that_does_not_exist_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["channels", str(PLAN), "--fault", "nonsense"]) == 2
    assert "REFUSED: fault 'nonsense'" in capsys.readouterr().err
