"""The simulated heat sources behave as such apparatus does."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from simulators.physics.heat import HeatSource
from simulators.physics.matrix import exponential, product
from simulators.physics.models import DRY_BLOCK, FURNACE, MODELS, OIL_BATH, Constants
from simulators.physics.noise import generator

HOUR_S = 3600.0


def source(constants: Constants = OIL_BATH, seed: int = 1, start_c: float | None = None) -> HeatSource:
    made = HeatSource(constants, generator(seed, "source"), start_c=start_c)
    made.controller.heater_on = True
    return made


def run(made: HeatSource, set_point_c: float, hours: float) -> list[float]:
    """Medium temperatures in °C of each second after the set-point was written."""
    begin = made.seconds
    made.controller.write_set_point(set_point_c, made.sensor_c)
    made.advance(begin + hours * HOUR_S)
    return made.medium_c[begin:]


def settled_after_s(track: list[float], band_k: float) -> int:
    final = sum(track[-600:]) / 600
    return max((i for i, t_c in enumerate(track) if abs(t_c - final) > band_k), default=0)


def fastest_k_per_min(track: list[float]) -> float:
    return max(abs(later - sooner) for sooner, later in zip(track, track[60:], strict=False))


def test_the_bath_reaches_its_set_point_with_some_overshoot_and_then_stays() -> None:
    track = run(source(start_c=50.0), 100.0, 3.0)
    final = sum(track[-600:]) / 600
    assert 0.01 < max(track) - final < 1.0
    assert 15 * 60 < settled_after_s(track, 0.01) < 90 * 60
    assert max(track[-600:]) - min(track[-600:]) < 0.02


@pytest.mark.parametrize(
    ("constants", "set_point_c"), [(OIL_BATH, 200.0), (OIL_BATH, -25.0), (DRY_BLOCK, 600.0), (FURNACE, 700.0)]
)
def test_the_display_shows_the_set_point_while_the_medium_is_off_by_the_display_error(
    constants: Constants, set_point_c: float
) -> None:
    made = source(constants)
    track = run(made, set_point_c, 6.0)
    assert made.displayed_c == pytest.approx(set_point_c, abs=0.02)
    error_k = constants.display_offset_k + constants.display_slope * set_point_c
    assert sum(track[-600:]) / 600 == pytest.approx(set_point_c - error_k, abs=0.05)


def test_a_weak_heater_saturates_below_the_set_point() -> None:
    made = source(replace(OIL_BATH, power_w=300.0))
    track = run(made, 200.0, 8.0)
    assert made.output_percent == 100.0
    assert track[-1] < 150.0


def test_the_anti_windup_lets_the_bath_come_back_after_hours_of_saturation() -> None:
    made = source(replace(OIL_BATH, power_w=300.0))
    run(made, 200.0, 4.0)
    track = run(made, 60.0, 3.0)
    assert track[-1] == pytest.approx(60.0, abs=0.1)


def test_cooling_is_faster_with_the_coil_and_reaches_zero_in_well_under_two_hours() -> None:
    with_coil, without = source(start_c=100.0), source(start_c=100.0)
    without.controller.cooling_on = False
    cold, warm = run(with_coil, 0.0, 2.0), run(without, 0.0, 2.0)
    assert settled_after_s(cold, 0.1) < 90 * 60
    assert warm[-1] > 40.0


def test_the_block_cools_faster_with_its_fan() -> None:
    with_fan, without = source(DRY_BLOCK, start_c=400.0), source(DRY_BLOCK, start_c=400.0)
    without.controller.cooling_on = False
    assert run(with_fan, 100.0, 0.5)[-1] < run(without, 100.0, 0.5)[-1] - 50.0


@pytest.mark.parametrize("model", MODELS)
def test_the_ramp_limit_is_kept(model: str) -> None:
    made = source(MODELS[model], start_c=50.0)
    made.controller.ramp_k_per_min = 1.0
    track = run(made, 80.0, 1.0)
    assert 0.9 < fastest_k_per_min(track) < 1.5


def test_the_furnace_is_slower_than_the_block_and_the_block_than_nothing() -> None:
    rates = [fastest_k_per_min(run(source(c, start_c=100.0), 300.0, 1.0)) for c in (FURNACE, DRY_BLOCK)]
    assert 4.0 < rates[0] < rates[1] < 20.0


def test_a_heater_switched_off_gives_no_heat_and_the_time_is_remembered() -> None:
    made = source()
    run(made, 150.0, 1.0)
    made.controller.heater_on = False
    energy_j = made.heater_energy_j
    made.advance(2 * HOUR_S)
    assert made.heater_energy_j == energy_j > 1e6
    assert made.last_heater_on_s == pytest.approx(HOUR_S, abs=1.0)


def test_without_control_the_bath_goes_to_the_temperature_its_losses_allow() -> None:
    constants = replace(OIL_BATH, unsteady_w=0.0, stirring_w=0.0, extra_loss_w_per_k2=0.0)
    made = HeatSource(constants, generator(1, "s"), ambient_c=22.0, ambient_wave_k=0.0, start_c=30.0)
    made.controller.heater_on = made.controller.cooling_on = False
    made.advance(30 * HOUR_S)
    slowest_s = 9000.0
    assert made.medium_c[-1] - 22.0 < 8.0 * math.exp(-30 * HOUR_S / slowest_s) * 1.5 + 1e-6


def test_energy_is_kept() -> None:
    """A bath that loses nothing warms by the energy put in over its heat capacity."""
    constants = replace(
        OIL_BATH,
        medium_air_w_per_k=0.0,
        outer_air_w_per_k=0.0,
        extra_loss_w_per_k2=0.0,
        stirring_w=0.0,
        unsteady_w=0.0,
    )
    made = source(constants, start_c=22.0)
    made.controller.cooling_on = False
    run(made, 60.0, 0.25)
    made.controller.heater_on = False
    made.advance(6 * HOUR_S)
    capacity = constants.heater_j_per_k + constants.medium_j_per_k + constants.outer_j_per_k
    assert made.medium_c[-1] - 22.0 == pytest.approx(made.heater_energy_j / capacity, rel=1e-9)


def test_the_room_has_a_daily_wave() -> None:
    made = source()
    made.advance(24 * HOUR_S)
    assert max(made.air_c) == pytest.approx(23.0, abs=0.01)
    assert min(made.air_c) == pytest.approx(21.0, abs=0.01)


def test_it_does_not_matter_how_often_somebody_looks() -> None:
    once, often = source(), source()
    for made in (once, often):
        made.controller.write_set_point(80.0, made.sensor_c)
    once.advance(1000.0)
    for tenth in range(10_001):
        often.advance(tenth / 10.0)
    assert once.medium_c == often.medium_c


def test_the_cut_out_trips_and_stays() -> None:
    made = source(replace(OIL_BATH, cut_out_c=120.0))
    made.stuck_relay = True
    made.advance(4 * HOUR_S)
    assert made.over_temperature
    assert 120.0 < max(made.medium_c) < 123.0


def test_the_matrix_exponential_is_exact_where_it_can_be_told() -> None:
    turned = exponential([[0.0, -math.pi / 2], [math.pi / 2, 0.0]])
    assert [value for row in turned for value in row] == pytest.approx([0.0, -1.0, 1.0, 0.0], abs=1e-14)
    stiff = [[-8.0, 3.0], [0.5, -0.001]]
    there_and_back = product(exponential(stiff), exponential([[-v for v in row] for row in stiff]))
    assert [value for row in there_and_back for value in row] == pytest.approx([1.0, 0.0, 0.0, 1.0], abs=1e-9)
