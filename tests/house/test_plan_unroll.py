"""A plan becomes a flat list of steps with nothing left open."""

from __future__ import annotations

from pathlib import Path

import pytest

from plans.loading import load_plan, parse_plan
from plans.run_plan import RunPlan
from plans.unroll import FinishStep, measuring_steps, unroll

EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"


def run_plan(name: str) -> RunPlan:
    return load_plan(EXAMPLES / name)


def edited(name: str, old: str, new: str) -> RunPlan:
    run = run_plan(name)
    assert old in run.texts.plan
    return parse_plan(run.texts.plan.replace(old, new, 1), run.texts.bench, run.texts.register)


@pytest.mark.parametrize("name", ["overnight.toml", "short.toml", "block-night.toml", "too-hot.toml"])
def test_every_example_is_read_and_can_be_rebuilt_from_its_texts(name: str) -> None:
    run = run_plan(name)
    again = parse_plan(run.texts.plan, run.texts.bench, run.texts.register, run.names)
    assert again == run


def test_the_night_has_nine_points_six_probes_and_begins_and_ends_at_zero() -> None:
    run = run_plan("overnight.toml")
    steps = measuring_steps(run)
    assert [step.temperature_c for step in steps] == [0.0, 40.0, 70.0, 100.0, 130.0, 160.0, 200.0, 100.0, 0.0]
    assert [steps[0].kind, steps[-1].kind] == ["zero_before", "zero_after"]
    assert len(run.items) == 6
    assert run.channels[1] == "TR-REF-01"


def test_a_temperature_reached_from_both_sides_is_its_own_partner_pair() -> None:
    steps = measuring_steps(run_plan("overnight.toml"))
    paired = [(step.index, step.approach, step.partner) for step in steps if step.partner is not None]
    assert paired == [(3, "from_below", 7), (7, "from_above", 3)]


def test_the_last_step_parks_with_the_heater_off() -> None:
    last = unroll(run_plan("block-night.toml"))[-1]
    assert isinstance(last, FinishStep)
    assert (last.kind, last.temperature_c, last.heater) == ("finish", 40.0, "off")


def test_parking_is_never_approached_faster_than_the_most_delicate_probe_allows() -> None:
    run = edited("block-night.toml", "ramp_k_per_min = 4.0", "ramp_k_per_min = 30.0")
    last = unroll(run)[-1]
    assert last.ramp_k_per_min == run.rating.cooling.value == 10.0


def test_equilibrium_defaults_follow_source_and_temperature() -> None:
    steps = measuring_steps(run_plan("overnight.toml"))
    assert [steps[1].equilibrium.drift_mk, steps[6].equilibrium.drift_mk] == [2.0, 5.0]
    block = measuring_steps(run_plan("block-night.toml"))[1]
    assert (block.equilibrium.drift_mk, block.equilibrium.scatter_mk, block.soak_s) == (10.0, 5.0, 1800.0)


def test_a_point_may_have_its_own_word() -> None:
    own = 'temperature_c = 40.0\nminimum_soak_minutes = 45\nsequence = {cycles = 5}\non_timeout = "skip"'
    step = measuring_steps(edited("overnight.toml", "temperature_c = 40.0", own))[1]
    assert (step.soak_s, step.sequence.cycles, step.on_timeout) == (2700.0, 5, "skip")
    assert step.sequence.readings_per_visit == 4
    assert step.sequence.readings_per_thermometer >= 10


def test_a_block_returns_to_its_own_return_point_instead_of_zero() -> None:
    steps = measuring_steps(run_plan("block-night.toml"))
    assert steps[0].temperature_c == steps[-1].temperature_c == 50.0
    assert steps[0].label == "return point before"
