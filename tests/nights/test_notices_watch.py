"""The watcher: many daemons in one view, and silence is noticed by somebody other than the silent one."""

from __future__ import annotations

import asyncio
import io
import json
import signal
from collections.abc import Callable
from pathlib import Path

import pytest
from rich.console import Console

from daemon.cli import main
from daemon.cli.watch_fleet import BROKER, Fleet
from daemon.cli.watch_listening import Listening
from daemon.cli.watch_screen import table
from daemon.journal.entry import Entry, Kind
from daemon.telemetry.telemetry import Telemetry
from drivers.clock import Clock
from tests.nights.telemetry_broker import Mosquitto, broker, free_port, look, settings_for

PATIENCE_S = 30.0
BENCH = "tern-rock/thermometry-bench"


def said(seq: int, **values: object) -> bytes:
    return json.dumps({"seq": seq, "run": "2026-01-15T17:00:00.000Z"} | values).encode()


def fleet_with(state: str, status: str = "online") -> Fleet:
    fleet = Fleet(0.0)
    fleet.broker("", 0.0)
    fleet.take(f"ohmvigil/{BENCH}/status", said(1, status=status), 0.0, retained=False)
    fleet.take(f"ohmvigil/{BENCH}/run", said(2, state=state, cause="over_limit: 451 °C"), 0.0, retained=False)
    return fleet


def test_a_run_that_falls_silent_is_noticed_after_its_time() -> None:
    fleet = fleet_with("running")
    fleet.look(30.0)
    assert not fleet.calling()
    fleet.look(30.1)
    assert fleet.causes()[BENCH].startswith(f"{BENCH}: nothing heard of a run")
    fleet.take(f"ohmvigil/{BENCH}/source", said(3, temperature_c=41.5), 31.0, retained=False)
    fleet.look(31.0)
    assert not fleet.calling() and fleet.benches[BENCH].temperature_c == 41.5


def test_what_a_broker_only_remembers_is_no_sign_of_life() -> None:
    fleet = fleet_with("running")
    fleet.take(
        f"ohmvigil/{BENCH}/point/1", said(9, phase="reading", temperature_c=40.0), 100.0, retained=True
    )
    fleet.look(100.0)
    assert fleet.calling()


@pytest.mark.parametrize("state", ["finished", "parked", "idle", "interrupted"])
def test_a_bench_without_a_run_may_be_silent(state: str) -> None:
    fleet = fleet_with(state)
    fleet.look(1e6)
    assert not fleet.calling()


def test_a_daemon_that_leaves_in_the_middle_of_a_run_is_noticed_at_once() -> None:
    fleet = fleet_with("running", status="offline")
    fleet.look(0.5)
    assert "gone in the middle of a run" in fleet.causes()[BENCH]


def test_a_halt_calls_until_somebody_acknowledges() -> None:
    fleet = fleet_with("parking")
    fleet.look(1.0)
    assert fleet.causes()[BENCH] == f"{BENCH} is parking: over_limit: 451 °C"
    fleet.take(f"ohmvigil/{BENCH}/event", said(5, what="acknowledge"), 2.0, retained=False)
    fleet.look(2.0)
    assert not fleet.calling()


def test_without_its_broker_the_watcher_calls_about_that_and_about_nothing_else() -> None:
    fleet = fleet_with("running")
    fleet.broker("no connection", 10.0)
    fleet.look(39.0)
    assert not fleet.calling()
    fleet.look(100.0)
    assert fleet.causes() == {BROKER: "no broker for 30 s or longer", BENCH: ""}


@pytest.mark.parametrize(
    "payload", [b"", b"{", b"[]", b"{}", b'{"seq": "x"}', b"\xff\xfe", b"[" * 100_000, b"null"]
)
def test_a_message_that_is_not_ours_changes_nothing(payload: bytes) -> None:
    fleet = Fleet(0.0)
    fleet.take(f"ohmvigil/{BENCH}/run", payload, 0.0, retained=False)
    fleet.take("ohmvigil/x", said(1), 0.0, retained=False)
    assert fleet.benches == {}


def test_a_repeat_is_dropped() -> None:
    fleet = fleet_with("running")
    fleet.take(f"ohmvigil/{BENCH}/source", said(8, temperature_c=40.0), 1.0, retained=False)
    fleet.take(f"ohmvigil/{BENCH}/source", said(7, temperature_c=39.0), 2.0, retained=False)
    fleet.take(f"ohmvigil/{BENCH}/source", said(8, temperature_c=39.0), 2.0, retained=False)
    assert fleet.benches[BENCH].temperature_c == 40.0


def test_a_simulated_night_that_begins_again_at_its_own_time_is_no_repeat() -> None:
    fleet = fleet_with("parked")
    fleet.take(f"ohmvigil/{BENCH}/run", said(99, state="parked"), 1.0, retained=False)
    fleet.take(f"ohmvigil/{BENCH}/event", said(1, what="opened"), 2.0, retained=False)
    fleet.take(f"ohmvigil/{BENCH}/run", said(3, state="running"), 2.0, retained=False)
    assert fleet.benches[BENCH].state == "running"


def test_without_any_broker_the_command_is_blind_and_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["watch", f"mqtt://127.0.0.1:{free_port()}/tern-rock", "--once-s", "0.2"]) == 1
    assert "no connection to the broker" in capsys.readouterr().out


def test_a_hundred_benches_fit_into_80_by_24_and_those_that_call_come_first() -> None:
    fleet = Fleet(0.0)
    fleet.broker("", 0.0)
    for number in range(100):
        name = f"ohmvigil/tern-rock/bench-{number:03d}"
        state = "parking" if number == 77 else "running"
        fleet.take(f"{name}/run", said(1, state=state, cause="no_rise"), 0.0, retained=False)
        fleet.take(f"{name}/source", said(2, temperature_c=20.0 + number), 0.0, retained=False)
    fleet.look(1.0)
    out = io.StringIO()
    Console(file=out, width=80, height=24, force_terminal=False).print(table(fleet, 24))
    lines = out.getvalue().splitlines()
    assert len(lines) <= 24 and max(map(len, lines)) <= 80
    assert lines[0] == "100 benches, 1 calling"
    assert "bench-077" in lines[1] and any("more without a call" in line for line in lines)


def seen_c(fleet: Fleet) -> float | None:
    return fleet.benches[BENCH].temperature_c if BENCH in fleet.benches else None


async def _until(condition: Callable[[], bool], clock: Clock) -> None:
    async with asyncio.timeout(PATIENCE_S):
        while not condition():  # noqa: ASYNC110  judged by the clock, which sets no event
            await asyncio.sleep(0.001)


def _state(seq: int, to: str) -> Entry:
    return Entry(seq, Kind.STATE, float(seq), 1.8e9 + seq, {"from": "idle", "to": to, "cause": "started"})


async def _watched(port: int, started: Callable[[Fleet], None], then: Callable[[Fleet], bool]) -> Fleet:
    clock = Clock()
    fleet = Fleet(clock.monotonic_s())
    listening = asyncio.create_task(Listening(settings_for(port), fleet, clock, "tern-rock").run())
    try:
        await _until(lambda: fleet.connected, clock)
        await asyncio.to_thread(started, fleet)

        def holds() -> bool:
            fleet.look(clock.monotonic_s())
            return then(fleet)

        await _until(holds, clock)
    finally:
        listening.cancel()
        await asyncio.gather(listening, return_exceptions=True)
    return fleet


def test_over_a_real_broker_the_watcher_sees_a_run_and_that_its_daemon_left(tmp_path: Path) -> None:
    with broker(tmp_path) as one:
        telemetry = Telemetry(settings_for(one.port), tmp_path / "outbox")

        def tells(_: Fleet) -> None:
            telemetry.listener(_state(1, "running"))
            telemetry.listener(look(2, 2.0, 40.25))

        try:
            fleet = asyncio.run(
                _watched(
                    one.port, tells, lambda f: BENCH in f.benches and f.benches[BENCH].temperature_c == 40.25
                )
            )
            assert fleet.benches[BENCH].state == "running" and not fleet.calling()
        finally:
            assert telemetry.close(PATIENCE_S)
        gone = asyncio.run(_watched(one.port, lambda _: None, lambda f: f.calling()))
        assert "gone in the middle of a run" in gone.causes()[BENCH]


def test_the_command_prints_what_it_heard_for_programs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with broker(tmp_path) as one:
        telemetry = Telemetry(settings_for(one.port), tmp_path / "outbox")
        telemetry.listener(_state(1, "parking"))
        assert telemetry.close(PATIENCE_S)
        assert main(["watch", f"mqtt://127.0.0.1:{one.port}/tern-rock", "--once-s", "1", "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert told["connected"] and told["benches"][0]["state"] == "parking"


def test_a_watcher_survives_its_broker(tmp_path: Path) -> None:
    one: Mosquitto
    with broker(tmp_path) as one:

        def kill(fleet: Fleet) -> None:
            one.end(signal.SIGKILL)

        lost = asyncio.run(_watched(one.port, kill, lambda f: not f.connected))
        assert "no connection to the broker" in lost.problem


@pytest.mark.parametrize(
    "words", [["http://x/y"], ["mqtt://h/s", "--silent-s", "nan"], ["mqtt://h/s", "--once-s", "-1"]]
)
def test_a_broker_that_cannot_be_watched_is_a_sentence(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["watch", *words]) == 2
    assert "REFUSED" in capsys.readouterr().err
