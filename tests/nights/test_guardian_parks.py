"""The guardian's own way to the controller: drill, park, what it never does, and whom it refuses."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from daemon.guardian.orders import Limits, Orders, from_text, to_text
from daemon.guardian.parking import Parking
from daemon.guardian.path import guardian_path, way_of
from daemon.guardian.script import compile_script
from plans.loading import load_plan
from simulators.scene import Scene
from tests.campaigns.guardian_bench import EXAMPLES, Heard, real_plan, scene
from tests.conversation.served import on_pty, on_tcp

QUICK = Limits(dead_after_s=1.0, recheck_s=0.01, longest_s=20.0)
SPEECHES = [
    ("ascii-bath", "ascii-bath", "tcp"),
    ("ascii-bath", "ascii-bath", "serial"),
    ("modbus-block", "modbus-tcp", "tcp"),
    ("modbus-block", "modbus-rtu", "serial"),
]


class Bench:
    """A served source, what it heard, and a guardian's parking told to bring it down."""

    def __init__(self, profile: str, there: Scene, heard: Heard, address: str, log: Path) -> None:
        self.scene, self.heard = there, heard
        run = real_plan(profile, address)
        way = way_of(run)
        self.orders = Orders(way, compile_script(run, way.kind), QUICK, str(log))
        self.said: list[str] = []

    def be_impatient(self) -> None:
        """Wait for each answer a tenth of the time."""
        script = self.orders.script
        park, safe = (
            tuple(replace(order, within_s=order.within_s / 10.0) for order in orders)
            for orders in (script.park, script.safe)
        )
        look = replace(script.look, within_s=script.look.within_s / 10.0)
        self.orders = replace(self.orders, script=replace(script, look=look, park=park, safe=safe))

    @property
    def parking(self) -> Parking:
        return Parking(from_text(to_text(self.orders)), self.said.append)

    @property
    def controller(self):  # type: ignore[no-untyped-def]
        return self.scene.source.controller


@contextmanager
def bench(
    tmp_path: Path,
    profile: str = "ascii-bath",
    speech: str = "ascii-bath",
    carrier: str = "tcp",
    start_c: float = 23.0,
) -> Iterator[Bench]:
    there = scene(speech, start_c=start_c)
    heard = Heard(there.instrument("source"))
    if carrier == "tcp":
        with on_tcp(heard) as port:
            yield Bench(profile, there, heard, f"tcp://127.0.0.1:{port}", tmp_path / "log")
    else:
        with on_pty(heard) as name:
            yield Bench(profile, there, heard, f"serial:{name}", tmp_path / "log")


@pytest.mark.parametrize(("profile", "speech", "carrier"), SPEECHES)
def test_a_hot_source_is_brought_to_its_parking_temperature_over_every_kind_of_wire(
    tmp_path: Path, profile: str, speech: str, carrier: str
) -> None:
    with bench(tmp_path, profile, speech, carrier, start_c=180.0) as on:
        on.controller.set_point_c, on.controller.heater_on = 200.0, True
        assert on.parking.now()
        assert on.controller.set_point_c == 40.0


@pytest.mark.parametrize(("profile", "speech", "carrier"), SPEECHES)
def test_the_drill_proves_the_way_on_a_cold_source_and_leaves_it_without_heat(
    tmp_path: Path, profile: str, speech: str, carrier: str
) -> None:
    with bench(tmp_path, profile, speech, carrier) as on:
        on.controller.heater_on = True
        assert on.parking.drill() == ""
        assert (on.controller.set_point_c, on.controller.heater_on) == (40.0, False)


def test_the_drill_is_refused_on_a_hot_source(tmp_path: Path) -> None:
    with bench(tmp_path, start_c=120.0) as on:
        on.controller.set_point_c = 120.0
        assert "the drill is for a cold source" in on.parking.drill()
        assert on.controller.set_point_c == 120.0


def test_the_drill_fails_where_the_controller_confirms_and_does_nothing(tmp_path: Path) -> None:
    with bench(tmp_path) as on:
        on.scene.controller_end.deaf_to_writes = True  # type: ignore[union-attr]
        assert "is read back" in on.parking.drill()


def test_the_drill_fails_where_nothing_answers(tmp_path: Path) -> None:
    with bench(tmp_path) as on:
        on.heard.deaf = True
        assert "no answer" in on.parking.drill()


def test_parking_slows_the_fall_to_the_rate_that_the_most_fragile_probe_allows(tmp_path: Path) -> None:
    with bench(tmp_path, "modbus-block", "modbus-tcp", start_c=400.0) as on:
        on.controller.set_point_c, on.controller.cooling_on = 415.0, True
        allowed = real_plan("modbus-block", "tcp://127.0.0.1:9").rating.cooling.value
        assert on.parking.now()
        assert on.controller.ramp_k_per_min == pytest.approx(allowed, abs=0.01)
        assert not on.controller.cooling_on


def test_a_set_point_below_parking_is_never_raised(tmp_path: Path) -> None:
    with bench(tmp_path, start_c=-10.0) as on:
        on.controller.set_point_c, on.controller.ramp_k_per_min = -20.0, 0.5
        assert on.parking.now()
        assert (on.controller.set_point_c, on.controller.ramp_k_per_min) == (-20.0, 0.5)


def test_half_a_command_left_by_a_dead_daemon_is_ended_before_parking(tmp_path: Path) -> None:
    with bench(tmp_path, carrier="serial", start_c=150.0) as on:
        on.controller.set_point_c = 150.0
        on.heard.accept(b"$01WS+0190", 0.0)
        assert on.parking.now()
        assert on.controller.set_point_c == 40.0
        assert not any("try 1" in line for line in on.said)


def test_a_mute_controller_is_tried_three_times_and_then_told_to_end_heating_unheard(tmp_path: Path) -> None:
    with bench(tmp_path, start_c=150.0) as on:
        on.controller.set_point_c, on.controller.heater_on, on.heard.deaf = 150.0, True, True
        on.be_impatient()
        assert not on.parking.now()
        assert sum("failed" in line for line in on.said) == 3
        assert not on.controller.heater_on
        assert on.controller.set_point_c <= 40.0


def test_after_parking_it_looks_until_the_source_is_cool_and_parks_again_on_any_change(
    tmp_path: Path,
) -> None:
    with bench(tmp_path) as on:
        on.controller.set_point_c, on.controller.heater_on = 60.0, True
        meddled = []

        def meddle(line: str) -> None:
            on.said.append(line)
            if line.startswith("parked") and not meddled:
                meddled.append(line)
                on.controller.set_point_c = 90.0

        assert Parking(on.orders, meddle).until_cool()
        assert any("was changed to 90 °C" in line for line in on.said)
        assert not on.controller.heater_on
        assert on.controller.set_point_c <= 40.0


def test_an_unreachable_controller_is_tried_until_the_longest_watch_is_over(tmp_path: Path) -> None:
    with bench(tmp_path) as on:
        orders = replace(on.orders, limits=replace(QUICK, longest_s=0.1))
    assert not Parking(orders, on.said.append).until_cool()
    assert "not cool" in on.said[-1]


def test_a_simulated_bench_has_no_way_for_a_guardian() -> None:
    assert "lives inside the program" in (guardian_path(load_plan(EXAMPLES / "short.toml")) or "")


def test_a_source_behind_visa_or_a_plug_in_has_no_way_for_a_guardian() -> None:
    assert "VISA" in (guardian_path(real_plan("ascii-bath", "visa:GPIB0::7::INSTR")) or "")
    run = real_plan("ascii-bath", "tcp://127.0.0.1:9")
    source = run.bench.heat_source.model_copy(update={"profile": "own-driver"})
    plugged = replace(run, bench=run.bench.model_copy(update={"heat_source": source}))
    assert "plug-in" in (guardian_path(plugged) or "")


def test_a_serial_speed_that_the_system_cannot_set_is_said_before_heat() -> None:
    assert "12345 baud" in (guardian_path(real_plan("ascii-bath", "serial:/dev/ttyX?baud=12345")) or "")


def test_sources_on_tcp_and_serial_lines_have_a_way() -> None:
    assert guardian_path(real_plan("ascii-bath", "serial:/dev/ttyX")) is None
    assert guardian_path(real_plan("modbus-block", "tcp://127.0.0.1:502")) is None
