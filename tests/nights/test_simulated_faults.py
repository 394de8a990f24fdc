"""Every fault that can be asked for shows where such a fault would show on a real bench."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from simulators.draw import draw_head, draw_probe
from simulators.faults import KINDS, Fault, FaultError, describe_kinds, parse_fault, parse_faults
from simulators.instruments.ascii_bath import check
from simulators.scene import Scene, SceneError, SceneSpec

HOUR_S = 3600.0
OVERLOAD = 9.9e37
HEAD = 5


class Bench:
    """A scene in which the bath was set to 80 °C at the start, and someone who reads it."""

    def __init__(self, *faults: str) -> None:
        probes = tuple(draw_probe(f"TR-10{n}", n, "iprt", 100.0, 1) for n in range(1, 5))
        head = draw_head("TR-101-head", HEAD, 1)
        self.scene = Scene(SceneSpec("oil_bath", 1, (*probes, head), faults=parse_faults(faults)))
        self.ask("WS+0080.000", 0.0)

    def ask(self, body: str, now_s: float) -> str | None:
        text = b"$01" + body.encode()
        replies = self.scene.instrument("source").accept(text + check(text) + b"\r", now_s)
        return replies[0][1][3:-3].decode("latin-1") if replies else None

    def look(self, now_s: float) -> list[float]:
        """Temperature, set-point, output, heater, over-temperature, stirrer, level low, cooling."""
        shown = self.ask("RA", now_s)
        assert shown is not None
        return [float(part) for part in shown[2:].split(",")]

    def bridge(self, text: bytes, now_s: float) -> list[tuple[float, bytes]]:
        return self.scene.instrument("bridge").accept(text, now_s)

    def ohm(self, channel: int, now_s: float) -> float:
        self.bridge(b"ROUT:CLOS (@%d)\n" % channel, now_s)
        ((_, reply),) = self.bridge(b"FRES?\n", now_s + 5.0)
        return float(reply)

    def medium_c(self, now_s: float) -> float:
        self.scene.advance(now_s)
        return self.scene.source.medium_c[-1]


def test_somebody_turns_the_set_point_on_the_panel() -> None:
    bench = Bench("panel-set-point@1:00=140")
    assert bench.look(HOUR_S - 1)[1] == 80.0
    assert bench.look(HOUR_S + 1)[1] == 140.0
    assert bench.medium_c(2 * HOUR_S) > 130.0


def test_somebody_switches_the_heater_off_on_the_panel() -> None:
    bench = Bench("panel-heater-off@1:00")
    assert bench.look(HOUR_S + 1)[3] == 0.0
    assert bench.medium_c(3 * HOUR_S) < 70.0


def test_a_lost_write_is_confirmed_and_does_nothing() -> None:
    bench = Bench("lost-write@1:00/60")
    assert bench.ask("WS+0120.000", HOUR_S + 5) == "WSOK"
    assert bench.look(HOUR_S + 6)[1] == 80.0
    assert bench.ask("WS+0120.000", HOUR_S + 61) == "WSOK"
    assert bench.look(HOUR_S + 62)[1] == 120.0


def test_a_stuck_relay_heats_at_zero_demand_until_the_cut_out_trips() -> None:
    bench = Bench("stuck-relay@1:00")
    shown = bench.look(1.5 * HOUR_S)
    assert shown[0] > 100.0 and shown[2] == 0.0
    assert bench.look(4 * HOUR_S)[4] == 1.0
    assert max(bench.scene.source.medium_c) < 235.0


@pytest.mark.parametrize("fault", ["heater-open@0:10", "weak-heater@0:10=0.02"])
def test_a_broken_heater_demands_everything_and_gets_nowhere(fault: str) -> None:
    bench = Bench(fault)
    shown = bench.look(2 * HOUR_S)
    assert shown[0] < 75.0 and shown[2] == 100.0


def test_bad_control_makes_the_bath_swing() -> None:
    def swing(*faults: str) -> float:
        bench = Bench(*faults)
        bench.scene.advance(4 * HOUR_S)
        last = bench.scene.source.medium_c[-1800:]
        return max(last) - min(last)

    assert swing("bad-control@0:30=30") > 10 * swing()


def test_a_detached_control_sensor_lets_the_bath_run_away() -> None:
    bench = Bench("controller-sensor-detached@1:00")
    assert bench.look(1.2 * HOUR_S)[0] < 40.0
    assert bench.medium_c(1.5 * HOUR_S) > 100.0


def test_a_drifting_display_takes_the_bath_with_it() -> None:
    bench = Bench("display-drift@2:00=-0.5/600")
    assert bench.look(4 * HOUR_S)[0] == pytest.approx(80.0, abs=0.02)
    assert bench.medium_c(4 * HOUR_S) == pytest.approx(85.0, abs=0.1)


def test_without_the_stirrer_layers_form_between_the_probes() -> None:
    bench = Bench("stirrer-stop@2:00")
    assert bench.look(2 * HOUR_S + 1)[5] == 0.0
    bench.scene.advance(2.5 * HOUR_S)
    temperatures = [bench.scene.temperature_c(f"TR-10{n}") for n in range(1, 5)]
    assert max(temperatures) - min(temperatures) > 2.0


def test_low_level_and_tripped_cut_out_are_reported() -> None:
    bench = Bench("level-low@1:00/60", "over-temperature@1:10")
    assert bench.look(HOUR_S + 1)[6] == 1.0
    assert bench.look(HOUR_S + 61)[6] == 0.0
    assert bench.look(1.2 * HOUR_S)[4] == 1.0
    assert bench.medium_c(3 * HOUR_S) < 70.0


def test_a_stuck_coolant_valve_chills_the_bath_when_the_heater_is_off() -> None:
    bench = Bench("fan-stuck@1:00")
    bench.ask("WH0", HOUR_S)
    bench.ask("WC0", HOUR_S)
    assert bench.look(HOUR_S + 10)[7] == 1.0
    assert bench.medium_c(4 * HOUR_S) < -15.0


def test_a_cold_load_drops_the_bath_and_it_recovers() -> None:
    bench = Bench("cold-load@2:00=3")
    assert bench.medium_c(2 * HOUR_S + 2) < 78.0
    assert bench.medium_c(3 * HOUR_S) == pytest.approx(80.0, abs=0.2)


def test_after_a_brown_out_the_bath_is_dumb_cold_and_then_heats_by_itself() -> None:
    bench = Bench("brown-out@1:00/1800")
    bench.ask("WH0", HOUR_S - 1)
    assert bench.ask("RA", HOUR_S + 10) is None
    assert bench.medium_c(1.5 * HOUR_S - 1) < 75.0
    assert bench.look(1.5 * HOUR_S + 1)[3] == 1.0
    assert bench.medium_c(2.5 * HOUR_S) == pytest.approx(80.0, abs=0.2)


def test_a_broken_lead_reads_as_overload_and_a_short_as_nothing() -> None:
    bench = Bench("open-lead@1:00=2", "short@1:00=3/600")
    assert bench.ohm(2, HOUR_S - 10) < 200.0
    assert bench.ohm(2, HOUR_S + 10) == OVERLOAD
    assert abs(bench.ohm(3, HOUR_S + 20)) < 0.1
    assert bench.ohm(3, HOUR_S + 700) > 100.0


def test_a_noisy_channel_is_noisy_and_its_neighbour_is_not() -> None:
    bench = Bench("noisy@2:00=2")

    def spread(channel: int, begin_s: float) -> float:
        values = [bench.ohm(channel, begin_s + 10.0 * n) for n in range(30)]
        return max(values) - min(values)

    assert spread(2, 2.1 * HOUR_S) > 5 * spread(3, 2.3 * HOUR_S)


def test_a_step_shifts_one_channel_by_so_many_kelvin() -> None:
    bench = Bench("step@2:00=2:15")
    before, after = bench.ohm(2, 2 * HOUR_S - 20), bench.ohm(2, 2 * HOUR_S + 20)
    assert after - before == pytest.approx(15 * 0.38, rel=0.03)
    assert bench.scene.temperature_c("TR-102") == pytest.approx(80.0, abs=0.1)


def test_the_reference_drifts_while_the_truth_stays() -> None:
    bench = Bench("reference-drift@2:00=0.3")
    before, after = bench.ohm(1, 2 * HOUR_S - 20), bench.ohm(1, 2 * HOUR_S + 595)
    assert after - before == pytest.approx(3.0 * 0.38, rel=0.03)
    assert bench.scene.temperature_c("TR-101") == pytest.approx(80.0, abs=0.1)


def test_a_pulled_probe_goes_to_the_room_and_comes_back() -> None:
    bench = Bench("probe-pulled@2:00=2/900")
    bench.scene.advance(2 * HOUR_S + 890)
    assert bench.scene.temperature_c("TR-102") == pytest.approx(22.0, abs=1.5)
    bench.scene.advance(2 * HOUR_S + 1100)
    assert bench.scene.temperature_c("TR-102") == pytest.approx(80.0, abs=0.1)


def test_swapped_channels_show_each_other() -> None:
    straight, crossed = Bench(), Bench("swapped-channels@2:00=2:3")
    for bench in (straight, crossed):
        bench.scene.advance(2 * HOUR_S)
    assert crossed.ohm(2, 2 * HOUR_S + 10) == pytest.approx(straight.ohm(3, 2 * HOUR_S + 10), rel=5e-6)


def test_a_hot_head_warms_the_head_sensor_only() -> None:
    bench = Bench("head-hot@1:00=60")
    bench.scene.advance(HOUR_S - 1)
    before = bench.scene.temperature_c("TR-101-head")
    bench.scene.advance(2 * HOUR_S)
    assert bench.scene.temperature_c("TR-101-head") - before == pytest.approx(60.0, abs=1.0)
    assert bench.scene.truth("TR-101").highest_c < 81.0


def test_a_frozen_reading_repeats_itself_to_the_last_digit() -> None:
    bench = Bench("frozen-reading@1:00=2", "frozen-reading@1:00=source")
    assert len({bench.ohm(2, HOUR_S + 10.0 * n) for n in range(5)}) == 1
    assert len({bench.ohm(3, HOUR_S + 100 + 10.0 * n) for n in range(5)}) == 5
    assert len({bench.look(HOUR_S + 200.0 + n)[0] for n in range(20)}) == 1
    bench.ask("WS+0081.000", HOUR_S + 300)
    assert bench.look(HOUR_S + 400)[1] == 81.0


@pytest.mark.parametrize("device", ["source", "bridge"])
def test_a_silent_instrument_answers_nothing_and_then_again(device: str) -> None:
    bench = Bench(f"silence@1:00={device}/90")
    asks: dict[str, Callable[[float], object]] = {
        "source": lambda now_s: bench.ask("RA", now_s),
        "bridge": lambda now_s: bench.bridge(b"*IDN?\n", now_s),
    }
    assert asks[device](HOUR_S - 1)
    assert not asks[device](HOUR_S + 1)
    assert asks[device](HOUR_S + 91)


def test_garbage_late_answers_and_half_lines_reach_the_wire() -> None:
    bench = Bench("garbage@1:00=bridge/60", "late-answer@1:10=bridge/60", "half-line@1:20=bridge/60")
    identity = bench.bridge(b"*IDN?\n", 100.0)[0][1]
    ((_, garbled),) = bench.bridge(b"*IDN?\n", HOUR_S + 1)
    assert garbled != identity and len(garbled) == len(identity) and garbled.endswith(b"\n")
    ((delay_s, late),) = bench.bridge(b"*IDN?\n", HOUR_S + 601)
    assert late == identity and delay_s > 5.0
    ((_, half),) = bench.bridge(b"*IDN?\n", HOUR_S + 1201)
    assert identity.startswith(half) and len(half) < len(identity)


def test_another_instrument_says_another_name() -> None:
    bench = Bench("wrong-identity@1:00=source", "wrong-identity@1:00=bridge/60")
    before = bench.bridge(b"*IDN?\n", HOUR_S - 10)[0][1]
    assert bench.ask("ID", HOUR_S - 10) != bench.ask("ID", HOUR_S + 10)
    assert bench.bridge(b"*IDN?\n", HOUR_S + 10)[0][1] != before
    assert bench.bridge(b"*IDN?\n", HOUR_S + 70)[0][1] == before


def test_a_fault_is_read_from_one_line() -> None:
    assert parse_fault("open-lead@3:10=4") == Fault("open-lead", 11400.0, "4")
    assert parse_fault("silence@0:00:30=bridge/90") == Fault("silence", 30.0, "bridge", 90.0)
    assert parse_fault("stuck-relay@5:00").duration_s == math.inf
    assert parse_fault("step@1:00=2:-0.5").channel == 2
    assert parse_fault("step@1:00=2:-0.5").number == -0.5


@pytest.mark.parametrize(
    "text",
    [
        "",
        "stuck-relay",
        "stuck-relay@5",
        "stuck-relay@5:61",
        "stuck-relay@5:00=3",
        "stuck-relay@5:00/0",
        "stuck-relay@5:00/nan",
        "stuck-relay@5:00/inf",
        "panel-set-point@5:00",
        "panel-set-point@5:00=hot",
        "panel-set-point@5:00=nan",
        "panel-set-point@5:00=1e999",
        "open-lead@5:00=9",
        "open-lead@5:00=1.5",
        "step@5:00=2",
        "step@5:00=2:3:4",
        "swapped-channels@5:00=2",
        "silence@5:00=kettle",
        "frozen-reading@5:00=bridge",
        "open-lead@5:00=4 ; rm",
    ],
)
def test_a_fault_that_cannot_be_understood_is_refused_with_a_sentence(text: str) -> None:
    with pytest.raises(FaultError, match=r"\w+ .*\w"):
        parse_fault(text)


def test_an_unknown_kind_is_answered_with_the_known_ones() -> None:
    with pytest.raises(FaultError, match="unknown fault 'meteor'") as refused:
        parse_fault("meteor@5:00")
    assert all(kind in str(refused.value) for kind in KINDS)
    assert all(kind in describe_kinds() for kind in KINDS)


def test_a_fault_on_a_channel_without_a_probe_is_refused() -> None:
    spec = Bench().scene.spec
    for text in ("open-lead@1:00=8", "step@1:00=7:3"):
        with pytest.raises(SceneError, match="no probe is there"):
            Scene(replace(spec, faults=parse_faults([text])))
    with pytest.raises(SceneError, match="no probe is there"):
        Scene(replace(spec, reference_channel=8, faults=parse_faults(["reference-drift@1:00=1"])))
