"""Limits a thermometer gets when its papers say nothing, and the working limits of the whole source."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plans.loading import load_plan
from plans.probe import Thermometer

EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"


def thermometer(**changes: Any) -> Thermometer:
    usual: dict[str, Any] = {
        "serial": "TR-1",
        "kind": "iprt",
        "element": "wire_wound",
        "sheath": "stainless_steel",
        "nominal_r0_ohm": 100.0,
        "wires": 4,
        "sensing_length_mm": 25.0,
        "diameter_mm": 6.0,
        "length_below_handle_mm": 400.0,
    }
    return Thermometer.model_validate(usual | changes)


@pytest.mark.parametrize(
    ("sheath", "maximum_c"),
    [
        ("stainless_steel", 450.0),
        ("nickel_chromium", 650.0),
        ("borosilicate", 500.0),
        ("fused_silica", 660.0),
        ("fused_silica_high", 962.0),
        ("alumina", 850.0),
    ],
)
def test_a_sheath_sets_the_highest_temperature(sheath: str, maximum_c: float) -> None:
    limit = thermometer(sheath=sheath).maximum
    assert limit.value == maximum_c
    assert "sheath" in limit.rule


# IEC 60751: temperature ranges of the tolerance classes.
@pytest.mark.parametrize(
    ("element", "grade", "range_c"),
    [
        ("wire_wound", "AA", (-50.0, 250.0)),
        ("wire_wound", "A", (-100.0, 450.0)),
        ("wire_wound", "B", (-196.0, 600.0)),
        ("film", "AA", (0.0, 150.0)),
        ("film", "A", (-30.0, 300.0)),
        ("film", "B", (-50.0, 500.0)),
        ("film", "C", (-50.0, 600.0)),
    ],
)
def test_a_class_sets_the_range_in_a_sheath_that_stands_more(
    element: str, grade: str, range_c: tuple[float, float]
) -> None:
    one = thermometer(sheath="nickel_chromium", element=element, tolerance_class=grade)
    assert (one.minimum.value, one.maximum.value) == range_c
    assert f"class {grade}" in one.maximum.rule


def test_the_lower_of_sheath_and_class_counts() -> None:
    assert thermometer(tolerance_class="B").maximum.value == 450.0
    assert thermometer(tolerance_class="AA").maximum.value == 250.0


def test_what_its_own_papers_say_replaces_the_rules() -> None:
    limit = thermometer(maximum_c=300.0).maximum
    assert limit.value == 300.0
    assert "stated in the register" in limit.rule


def test_glass_and_ceramic_are_heated_slower_than_metal() -> None:
    assert thermometer(sheath="alumina").heating.value == 5.0
    assert thermometer(sheath="nickel_chromium").heating.value == 10.0
    assert thermometer(heating_limit_k_per_min=2.0).heating.value == 2.0


def test_an_sprt_is_cooled_slowly_from_above_480() -> None:
    sprt = thermometer(kind="sprt", sheath="fused_silica", element="strain_free", nominal_r0_ohm=25.5)
    assert sprt.cooling_from(480.0).value == 5.0
    assert sprt.cooling_from(481.0).value * 60.0 == pytest.approx(50.0)
    assert thermometer(sheath="nickel_chromium").cooling_from(600.0).value == 10.0


def test_a_thousand_ohm_element_carries_a_tenth_of_the_current() -> None:
    assert thermometer().current.value == 1.0
    assert thermometer(nominal_r0_ohm=1000.0).current.value == 0.1


@given(st.lists(st.floats(250.0, 900.0), min_size=7, max_size=7))
def test_the_working_limit_is_the_lowest_of_all_and_names_its_owner(maxima: list[float]) -> None:
    run = load_plan(EXAMPLES / "block-night.toml")
    stated = dict(zip([one.serial for one in run.register.thermometers], maxima, strict=False))
    changed = [
        one.model_copy(update={"stated_maximum_c": stated.get(one.serial, 900.0)})
        for one in run.register.thermometers
    ]
    register = run.register.model_copy(update={"thermometers": tuple(changed)})
    highest = replace(run, register=register).rating.highest
    limits = [stated.get(serial, 900.0) for serial in run.channels.values()]
    assert highest.value == min(*limits, run.bench.heat_source.maximum_c)


def test_the_bath_night_is_limited_by_the_bath_and_the_block_night_by_a_probe() -> None:
    assert load_plan(EXAMPLES / "overnight.toml").rating.highest.owner == "the bath"
    block = load_plan(EXAMPLES / "block-night.toml").rating
    assert block.highest.owner.startswith("probe ")
    assert block.highest_allowed_c == 450.0


def test_flash_point_lowers_the_limit_of_the_fluid() -> None:
    fluid = load_plan(EXAMPLES / "overnight.toml").bench.fluid
    assert fluid is not None
    assert fluid.maximum.value == 230.0
    assert fluid.model_copy(update={"flash_c": 220.0}).maximum.value == 195.0
    assert fluid.minimum.value == -35.0
    assert fluid.model_copy(update={"freezing_c": -40.0}).minimum.value == -30.0
