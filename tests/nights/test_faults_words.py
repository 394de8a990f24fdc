"""A slice of the state machine: words and faults in any order on each plant, and a planted wrong is seen."""

from __future__ import annotations

import pytest

from daemon.states import State
from simulators.physics.controller import Controller
from tests.campaigns.short_nights import PLANTS
from tests.campaigns.words_and_faults import machine, tried


@pytest.mark.parametrize("plant", PLANTS)
def test_no_order_of_words_and_faults_leads_to_more_heat(plant: str) -> None:
    on = machine([plant])
    tried(on, examples=2, steps=8, first_seed=4)
    assert on.counts[plant] == 2


def test_a_controller_that_heats_in_spite_of_a_halt_is_found() -> None:
    on = machine(["block"])
    states = on()
    states.begin("block", 5)
    states.somebody_says("halt")
    assert states._states[-1] is State.PARKING
    controller: Controller = states._night.scene.source.controller
    controller.write_set_point(controller.set_point_c + 50.0, 300.0)
    with pytest.raises(AssertionError):
        states.no_set_point_was_raised_in_a_halt()
    states.teardown()
