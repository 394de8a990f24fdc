"""The whole computer is lost, its guardian with it: only the controller itself can bring the source down."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path

import pytest

from daemon.journal.read import read_entries
from daemon.lease import SILENCE_S, terms_of, unfit
from daemon.night import Bench, Outcome, run_night
from daemon.rehearsal import Scene, make_scene, resume_rehearsal, simulation_of
from daemon.states import State
from drivers.clock import Clock
from drivers.profile_model import Profile
from drivers.registry import find_profile
from drivers.wires.memory import FarEnd
from plans.loading import load_plan, parse_plan
from plans.run_plan import RunPlan
from simulators import virtual_time
from tests.nights.rehearsed import EXAMPLES, rehearsed_once
from tests.nights.replayed import cut_off

SILENCE = (b"\x06\x00\x1e", b"\x10\x00\x1e", b"\x10\x00\x1f")
"""Writing the time (register 30) and the fall-back (31)."""
CONTINUE = '\n[resume]\npolicy = "continue"\nmaximum_gap_s = 600\n'


class Deaf:
    """The controller's wire; from `from_s` on it refuses to set its own reaction to silence."""

    def __init__(self, controller: FarEnd, from_s: float) -> None:
        self._controller, self._from_s = controller, from_s

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        if now_s < self._from_s or data[7:10] not in SILENCE:
            return self._controller.accept(data, now_s)
        return [(0.02, data[:4] + b"\x00\x03" + data[6:7] + bytes((data[7] | 0x80, 2)))]


@pytest.fixture(scope="module")
def run() -> RunPlan:
    return load_plan(EXAMPLES / "block-night.toml")


@pytest.fixture(scope="module")
def profile() -> Profile:
    profile = find_profile("modbus-block")
    assert profile is not None
    return profile


def night(
    run: RunPlan,
    record: Path,
    meanwhile: Callable[[Scene, Clock, asyncio.Task[Outcome]], Awaitable[None]],
    deaf_from_s: float = math.inf,
) -> None:
    """A simulated night beside which something else happens."""
    scene, clock = make_scene(run), Clock(simulation_of(run).start_utc)
    ends = {name: scene.instrument(name) for name in scene.names}
    ends["source"] = Deaf(ends["source"], deaf_from_s)

    async def main() -> None:
        running = asyncio.create_task(run_night(run, record, Bench(clock, ends, simulated=True)))
        await meanwhile(scene, clock, running)

    virtual_time.run(main())


@pytest.mark.parametrize("lost_h", [0.4, 1.7, 5.1], ids=["on the way up", "soaking", "later"])
def test_without_a_computer_the_block_goes_to_its_parking_temperature(
    run: RunPlan, tmp_path: Path, lost_h: float
) -> None:
    async def lost(scene: Scene, clock: Clock, running: asyncio.Task[Outcome]) -> None:
        await clock.sleep(3600.0 * lost_h)
        before_c = scene.source.controller.set_point_c
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)
        assert before_c > run.parking_c
        await clock.sleep(SILENCE_S)
        scene.advance(clock.monotonic_s())
        soon_c = scene.source.displayed_c
        assert scene.source.controller.set_point_c == run.parking_c
        for _ in range(6):
            await clock.sleep(3600.0)
            scene.advance(clock.monotonic_s())
            assert scene.source.displayed_c < soon_c + 1.0
        assert scene.source.displayed_c < max(run.parking_c + 5.0, soon_c - 100.0)

    night(run, tmp_path / "lost.record", lost)


def test_soaks_are_longer_than_the_silence_and_nothing_falls_back(run: RunPlan, tmp_path: Path) -> None:
    record = tmp_path / "night.record"
    assert rehearsed_once(run, record).outcome.good
    (lease,) = [e.body for e in read_entries(record) if e.body.get("mark") == "lease"]
    assert (lease["silence_s"], lease["fall_back_c"], lease["found_s"]) == (60.0, run.parking_c, 0.0)


@pytest.mark.parametrize(("gap_s", "last"), [(40.0, State.FINISHED), (90.0, State.PARKED)])
def test_a_gap_that_outlasts_the_lease_ends_in_parking(
    run: RunPlan, tmp_path: Path, gap_s: float, last: State
) -> None:
    texts, whole = run.texts, tmp_path / "whole.record"
    going_on = parse_plan(texts.plan + CONTINUE, texts.bench, texts.register, run.names)
    rehearsed_once(going_on, whole)
    record = cut_off(whole, tmp_path / "cut.record", 0.4)
    assert resume_rehearsal(going_on, record, gap_s=gap_s).outcome.state is last


def test_a_lease_that_is_no_longer_taken_lapses_and_the_run_is_parked(run: RunPlan, tmp_path: Path) -> None:
    record = tmp_path / "deaf.record"

    async def deaf(scene: Scene, clock: Clock, running: asyncio.Task[Outcome]) -> None:
        outcome = await running
        assert outcome.state is State.PARKED
        assert outcome.cause is not None
        assert outcome.cause.guard == "set_point_readback"

    night(run, record, deaf, deaf_from_s=6000.0)
    entries = list(read_entries(record))
    refused = [e.when_s for e in entries if e.body.get("error") == "Refused"]
    parking = next(e.when_s for e in entries if e.body.get("to") == State.PARKING)
    assert 6000.0 <= refused[0] < 6021.0
    assert parking - 6000.0 < SILENCE_S + 10.0


def test_the_time_is_as_near_to_a_minute_as_the_controller_can_be_told(profile: Profile) -> None:
    def told(limits: tuple[float, float]) -> float:
        commands = {**profile.commands, "loss_time": replace(profile.commands["loss_time"], limits=limits)}
        terms = terms_of(replace(profile, commands=commands), 40.0)
        assert terms is not None
        return terms.silence_s

    assert [told((0.0, 3600.0)), told((0.0, 30.0)), told((90.0, 900.0))] == [60.0, 30.0, 90.0]


def test_a_parking_temperature_that_the_controller_cannot_fall_back_to_is_said(profile: Profile) -> None:
    assert unfit(profile, 40.0) == ""
    assert "700 °C" in unfit(profile, 710.0)
