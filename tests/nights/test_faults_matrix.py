"""A slice of the fault campaign: nothing above its rating, nothing cooled too fast, no heat after a halt."""

from __future__ import annotations

from random import Random

import pytest

from simulators.faults import parse_fault
from tests.campaigns.fault_cases import draw_fault, kinds_of, late
from tests.campaigns.fault_oracle import night_with
from tests.campaigns.faults import disturb, jobs, table, violations
from tests.campaigns.short_nights import PLANTS, short_night

SLICE = [
    ("bath", "controller-sensor-detached@0:25", "controller_reads_low", 60.0),
    ("bath", "panel-set-point@0:50=250", "set_point_readback", 5.0),
    ("bath", "heater-open@0:15", "no_rise", 900.0),
    ("block", "display-drift@0:40=-1.0", "reference_against_controller", 1200.0),
    ("block", "frozen-reading@0:40=1", "frozen_reference", 200.0),
    ("cold", "cooling-stop@0:50", "cooling_lost", 1800.0),
    ("cold", "cooling-stop@0:10", "no_fall", 1810.0),
    ("cold", "head-hot@0:50=110", "head_hot", 600.0),
    ("furnace", "panel-heater-off@0:30", "heater_switch_readback", 5.0),
]


@pytest.mark.parametrize(("plant", "fault", "guard", "within_s"), SLICE, ids=[one[1] for one in SLICE])
def test_a_fault_is_seen_in_time_and_harms_nothing(
    plant: str, fault: str, guard: str, within_s: float
) -> None:
    said: list[str] = []
    case = night_with(
        short_night(plant),
        plant,
        fault,
        hours_after=0.5,
        heard=lambda entry: said.append(str(entry.body.get("guard", ""))),
    )
    assert case.violations == []
    assert case.first_s is not None and case.first_s <= within_s
    assert guard in said


def test_a_healthy_night_with_an_open_lid_now_and_then_is_neither_held_nor_halted() -> None:
    night = short_night("bath")
    case = night_with(night, "bath", disturb=lambda scene: disturb(scene, Random(7)), stop_s=8000.0)
    assert (case.first_guard, case.state) == ("", "running")


def test_the_oracle_sees_a_probe_above_its_rating() -> None:
    """A stuck relay that nothing can stop: without this the campaign's zero would mean nothing."""
    case = night_with(short_night("bath"), "bath", "stuck-relay@1:30", hours_after=1.0)
    assert case.margin_k < 0.0 and case.violations
    assert violations([case]) == []
    assert any("not protected" in line for line in table([case]))


def test_the_campaign_draws_the_same_cases_from_the_same_seed() -> None:
    ends_s = dict.fromkeys(PLANTS, 7200.0)
    first, again = (jobs(PLANTS, [], 2, 5, ends_s) for _ in range(2))
    assert first == again and first != jobs(PLANTS, [], 2, 6, ends_s)
    assert len(first) == 2 * sum(len(kinds_of(plant)) for plant in PLANTS)


def test_a_drawn_fault_begins_at_its_instant() -> None:
    assert draw_fault("heater-open", "bath", 3725.0, Random(1)) == "heater-open@1:02:05"


def test_a_fault_that_shows_at_once_must_be_seen_at_once() -> None:
    silent = parse_fault("silence@0:30=source")
    assert late(silent, 12.0) == ""
    assert "instead of 30 s" in late(silent, 31.0) and "never seen" in late(silent, None)
    assert late(silent, None, lasted_s=29.0) == ""
    assert late(parse_fault("silence@0:30=source/3"), None) == late(parse_fault("noisy@0:30=2"), None) == ""
