"""A simulated thermometer lags, heats itself, loses heat along its stem and ages as real ones do."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from simulators.physics.channel import Channel
from simulators.physics.heat import HeatSource
from simulators.physics.models import OIL_BATH
from simulators.physics.noise import generator
from simulators.physics.platinum import CallendarVanDusen, Insulation
from simulators.physics.probe import Probe, ProbeTruth

STILL = replace(OIL_BATH, unsteady_w=0.0)
TRUTH = ProbeTruth("TR-101", 1, CallendarVanDusen())


def bath(start_c: float | None = None) -> HeatSource:
    return HeatSource(STILL, generator(1, "source"), ambient_wave_k=0.0, start_c=start_c)


def ramped_bath() -> HeatSource:
    """A bath whose medium rises by exactly 6 K/min for half an hour."""
    made = bath()
    made.medium_c = [22.0 + 0.1 * second for second in range(1801)]
    made.air_c, made.layering = [22.0] * 1801, [0.0] * 1801
    return made


def test_on_a_ramp_a_probe_is_behind_by_both_its_lags() -> None:
    source = ramped_bath()
    probe = Probe(replace(TRUTH, lags_s=(4.0, 1.5), immersion_mm=1e4), source)
    source.seconds = 1800
    assert source.medium_c[-1] - probe.temperature_c == pytest.approx(0.1 * 5.5, abs=1e-9)


def test_the_two_lags_follow_the_exact_solution_from_the_first_second() -> None:
    source = ramped_bath()
    probe = Probe(replace(TRUTH, lags_s=(6.0, 4.0), immersion_mm=1e4), source)
    source.seconds = 10
    a, b = 6.0, 4.0
    behind = (a + b) - (a * a * math.exp(-10 / a) - b * b * math.exp(-10 / b)) / (a - b)
    assert probe.temperature_c - 22.0 == pytest.approx(0.1 * (10 - behind), abs=1e-9)


def test_it_does_not_matter_when_a_probe_is_looked_at() -> None:
    source = bath()
    source.controller.write_set_point(90.0, source.sensor_c)
    often, once = Probe(TRUTH, source), Probe(TRUTH, source)
    for second in range(0, 2000, 7):
        source.advance(second)
        often.follow()
    assert often.temperature_c == once.temperature_c
    assert often.fastest_heating_k_per_min == once.fastest_heating_k_per_min


def test_the_extremes_are_remembered() -> None:
    source = bath()
    probe = Probe(replace(TRUTH, immersion_mm=1e4), source)
    source.controller.write_set_point(60.0, source.sensor_c)
    source.advance(3600.0)
    source.controller.write_set_point(10.0, source.sensor_c)
    source.advance(10800.0)
    assert probe.highest_c == pytest.approx(max(source.medium_c), abs=0.05)
    assert probe.lowest_c == pytest.approx(min(source.medium_c), abs=0.05)
    assert 4.5 < probe.fastest_heating_k_per_min < 6.0
    assert 1.5 < probe.fastest_cooling_k_per_min < 5.5


def test_self_heating_grows_with_the_square_of_the_current() -> None:
    """100 Ω at 1 mA and 30 mW/K: 3.3 mK, and twice that at √2 mA."""
    at_1, at_2 = TRUTH.self_heating_k(100.0, 1.0), TRUTH.self_heating_k(100.0, math.sqrt(2.0))
    assert at_1 == pytest.approx(0.1e-3 / 30e-3)
    assert at_2 == pytest.approx(2 * at_1)
    zero, one, two = (TRUTH.resistance_ohm(100.0, current) for current in (0.0, 1.0, math.sqrt(2.0)))
    assert zero == pytest.approx(2 * one - two, abs=1e-7)
    assert one > zero


def test_after_a_change_of_current_the_self_heating_creeps_to_its_new_value() -> None:
    source = bath(100.0)
    channel = Channel(Probe(TRUTH, source))
    before = channel.ohm(0.0)
    channel.drive(0.0, 2.0)
    at_once, soon, settled = (channel.ohm(when) for when in (0.0, 0.8, 30.0))
    assert at_once == pytest.approx(before, abs=1e-9)
    assert settled - before == pytest.approx(3 * 0.38 * TRUTH.self_heating_k(before, 1.0), rel=0.02)
    assert soon - before == pytest.approx((settled - before) * (1 - math.exp(-1)), rel=1e-3)
    channel.drive(60.0, 1.0)
    assert channel.ohm(200.0) == pytest.approx(before, abs=1e-9)


def test_a_probe_that_is_not_deep_enough_reads_towards_the_room() -> None:
    source = bath(122.0)
    shallow = Probe(replace(TRUTH, immersion_mm=80.0), source)
    deep = Probe(replace(TRUTH, immersion_mm=300.0), source)
    assert 122.0 - shallow.temperature_c == pytest.approx(0.9 * 100.0 * math.exp(-80 / 14), rel=1e-9)
    assert 122.0 - deep.temperature_c < 1e-6


def test_a_place_is_off_by_a_constant_and_in_proportion_to_the_excess_over_the_room() -> None:
    placed = replace(TRUTH, immersion_mm=1e4, position_k=0.003, position_slope=1e-4)
    assert Probe(placed, bath(122.0)).temperature_c == pytest.approx(122.0 + 0.003 + 1e-4 * 100.0)


def test_a_head_sensor_sees_a_tenth_of_the_excess() -> None:
    head = replace(TRUTH, immersion_mm=1e4, coupling=0.1)
    assert Probe(head, bath(122.0)).temperature_c == pytest.approx(32.0)


def test_resistance_drifts_only_above_its_limit_and_shifts_once() -> None:
    source = bath(150.0)
    source.controller.write_set_point(150.0, source.sensor_c)
    ageing = replace(TRUTH, drifts_above_c=120.0, drift_ppm_per_h=10.0, shift_ppm=5.0)
    probe, cold = Probe(ageing, source), Probe(replace(ageing, drifts_above_c=190.0), source)
    fresh = probe.resistance_ohm(0.0)
    source.advance(7200.0)
    probe.follow()
    cold.follow()
    assert probe.resistance_ohm(0.0) / fresh - 1.0 == pytest.approx(25e-6, rel=1e-3)
    assert cold.resistance_ohm(0.0) == fresh


def test_hysteresis_differs_between_approach_from_below_and_from_above() -> None:
    source = bath()
    probe = Probe(replace(TRUTH, hysteresis_ppm=15.0), source)
    shown = []
    for set_point_c in (60.0, 120.0, 60.0):
        source.controller.write_set_point(set_point_c, source.sensor_c)
        source.advance(source.seconds + 10800.0)
        probe.follow()
        shown.append(probe.resistance_ohm(60.0))
    assert shown[2] / shown[0] - 1.0 == pytest.approx(30e-6, rel=0.05)


def test_without_ageing_the_terminals_show_the_settled_truth() -> None:
    source = bath(80.0)
    probe = Probe(replace(TRUTH, insulation=Insulation(50.0)), source)
    assert Channel(probe).ohm(0.0) == pytest.approx(
        probe.truth.resistance_ohm(probe.temperature_c, 1.0), abs=1e-12
    )
