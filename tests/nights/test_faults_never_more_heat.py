"""No fault, hold, release, cleared verdict, reconnect or operator's word leads by itself to more heat.

Judged by the simulated source: its set-point as written, its heater's energy, the true temperatures.
"""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from daemon.states import State
from simulators.faults import KINDS
from tests.campaigns.fault_cases import draw_fault, kinds_of
from tests.campaigns.fault_oracle import STUCK, night_with
from tests.campaigns.short_nights import short_night

WORDS = ("hold", "release", "acknowledge", "halt", "cut")
HALTED = (State.PARKING, State.CUT, State.PARKED)


@seed(1)
@settings(max_examples=12, deadline=None, database=None, suppress_health_check=list(HealthCheck))
@given(
    kind=st.sampled_from([kind for kind in kinds_of("bath") if kind != STUCK]),
    instant_s=st.integers(200, 1500),
    words=st.lists(st.tuples(st.integers(1, 1800), st.sampled_from(WORDS)), max_size=5),
    chance=st.integers(0, 1000),
)
def test_no_fault_and_no_word_leads_to_more_heat(
    kind: str, instant_s: int, words: list[tuple[int, str]], chance: int
) -> None:
    fault = draw_fault(kind, "bath", float(instant_s), Random(chance))
    said = sorted((float(instant_s + after_s), word) for after_s, word in words)
    case = night_with(short_night("bath"), "bath", fault, hours_after=0.6, words=said)
    assert case.violations == []


@pytest.mark.parametrize("word", WORDS)
def test_no_word_after_a_halt_leads_back_to_heat(word: str) -> None:
    words = [(900.0, "halt"), *((900.0 + 60.0 * n, word) for n in range(1, 6))]
    case = night_with(short_night("bath"), "bath", hours_after=0.5, words=words, stop_s=1800.0)
    assert case.violations == []
    assert case.state in HALTED


def test_acknowledging_a_hold_does_not_end_it() -> None:
    words = [(900.0, "hold"), (930.0, "acknowledge")]
    case = night_with(short_night("bath"), "bath", words=words, stop_s=1000.0)
    assert case.state == State.HOLDING


def test_only_a_release_ends_a_hold_that_was_acknowledged() -> None:
    words = [(900.0, "hold"), (930.0, "acknowledge"), (960.0, "release")]
    case = night_with(short_night("bath"), "bath", words=words, stop_s=1000.0)
    assert case.state == State.RUNNING


def test_a_release_never_overtakes_a_halt_said_in_the_same_moment() -> None:
    words = [(900.0, "hold"), (930.0, "halt"), (930.0, "release")]
    case = night_with(short_night("bath"), "bath", words=words, stop_s=1000.0)
    assert case.state == State.PARKING


def test_every_kind_of_fault_can_be_drawn_for_some_plant() -> None:
    assert set(kinds_of("bath")) == set(KINDS)
