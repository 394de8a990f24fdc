"""A cut on a source that has no heater switch: the set-point is all there is, and it never adds heat."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from daemon.actions import Action, LookAtSource, Measure, WriteSetPoint
from daemon.executor.reactions import Reactions
from daemon.observations import Done, Failed, Observation, Resistance
from daemon.preparation import script_of
from daemon.states import State
from drivers.quantities import Reading
from drivers.roles import HeatSourceCapabilities
from tests.campaigns.short_nights import short_night

CAPABILITIES = HeatSourceCapabilities(5.0, 250.0, 0.01, ramp=True)
SCRIPT = script_of(short_night("bath"), CAPABILITIES)
SILENT = "the controller does not answer"


def silent_source(reference_ohm: float | None) -> Callable[[Action], Observation]:
    """A bench whose controller is mute; its bridge reads the reference (None: it is mute as well)."""

    def answer(action: Action) -> Observation:
        if isinstance(action, Measure) and reference_ohm is not None:
            reading = Reading(reference_ohm, "ohm", 1.0)
            return Resistance(1.0, action.channel, action.current_ma, reading)
        if isinstance(action, LookAtSource | WriteSetPoint | Measure):
            return Failed(1.0, "source", SILENT)
        return Done(1.0)

    return answer


def written_c(parking_c: float, answer: Callable[[Action], Observation], actions: int = 40) -> list[float]:
    """The set-points that a cut writes in its first actions."""
    source = replace(SCRIPT.source, parking_c=parking_c)
    cut = Reactions(replace(SCRIPT, source=source)).script(State.CUT)
    written, action = [], next(cut)
    for _ in range(actions):
        if isinstance(action, WriteSetPoint):
            written.append(action.temperature_c)
        action = cut.send(answer(action))
    return written


def test_a_source_colder_than_its_parking_temperature_is_not_heated_up_to_it() -> None:
    at_11_c = 104.3  # of a thermometer with 100 Ω at 0 °C
    written = written_c(25.0, silent_source(at_11_c))
    assert written and all(10.0 < one_c < 12.0 for one_c in written)


def test_a_hot_source_is_sent_to_its_parking_temperature() -> None:
    at_150_c = 157.0
    assert set(written_c(40.0, silent_source(at_150_c))) == {40.0}


def test_nothing_is_written_below_what_the_source_can_do() -> None:
    at_0_c = 100.0
    assert set(written_c(40.0, silent_source(at_0_c))) == {CAPABILITIES.minimum_c}


@pytest.mark.parametrize("parking_c", [20.0, 40.0])
def test_when_nobody_knows_how_hot_it_is_parking_is_all_that_is_left(parking_c: float) -> None:
    assert set(written_c(parking_c, silent_source(None))) == {parking_c}
