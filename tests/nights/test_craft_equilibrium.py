"""The end of a transient is foretold early and not too early; a lasting drift is another matter."""

from __future__ import annotations

import math
from random import Random

import pytest

from daemon.equilibrium import Criterion, Equilibrium
from daemon.transient import Transient
from tests.benchmarks.equilibrium import score

REFERENCE, ITEM = 1, 2
BATH = Criterion(window_s=600.0, drift_mk=2.0, scatter_mk=1.0, item_drift_mk=1.0, remaining_mk=3.0)


@pytest.mark.parametrize(
    ("two", "alike", "goal_s"),
    [(False, 0.0, 175.0), (False, 0.9, 215.0), (True, 0.0, 60.0), (True, 0.9, 60.0)],
)
def test_three_millikelvin_are_foretold_soon_after_they_are_true(
    two: bool, alike: float, goal_s: float
) -> None:
    found = score(two, alike, limit_mk=3.0, runs=40, seed=11)
    assert found.false_accepts <= 1 / 40
    assert found.never == 0
    assert found.median_lost_s < goal_s


@pytest.mark.parametrize("tau_s", [400.0, 600.0, 900.0])
def test_the_time_constant_of_a_quiet_approach_is_found(tau_s: float) -> None:
    transient = Transient(900.0, 3.0)
    for second in range(0, 1800, 5):
        transient.add(float(second), 25.0 + 0.5 * math.exp(-second / tau_s))
    assert transient.time_constant_s == pytest.approx(tau_s, rel=0.02)


def test_what_is_left_is_bounded_from_above_on_a_quiet_approach() -> None:
    transient = Transient(900.0, 3.0)
    for second in range(0, 4000, 5):
        transient.add(float(second), 25.0 + 0.5 * math.exp(-second / 500.0))
        if transient.full and second > 1200:
            left_mk = 500.0 * math.exp(-second / 500.0)
            assert left_mk <= 1.05 * transient.remaining_mk
            assert transient.remaining_mk <= 2.0 * left_mk + 0.5


def judged(seconds: int, curve_mk: float, tau_s: float, drift_mk_per_min: float) -> Equilibrium:
    """A bath and an item in it, seen every ten seconds with a little noise."""
    equilibrium, chance = Equilibrium(BATH, REFERENCE, (ITEM,)), Random(3)
    for second in range(0, seconds, 10):
        mk = curve_mk * math.exp(-second / tau_s) + drift_mk_per_min * second / 60.0
        equilibrium.add(REFERENCE, float(second), 40.0 + 1e-3 * (mk + chance.gauss(0.0, 0.1)))
        equilibrium.add(ITEM, second + 5.0, 40.2 + 1e-3 * (mk + chance.gauss(0.0, 0.1)))
    return equilibrium


def test_the_soak_may_begin_before_the_drift_has_left_the_window() -> None:
    evidence = judged(3480, 500.0, 600.0, 0.0).judge()
    assert evidence.drift_mk > BATH.drift_mk
    assert evidence.near and not evidence.met


def test_a_lasting_drift_never_ends_a_soak() -> None:
    for seconds in (3000, 6000, 12_000):
        assert not judged(seconds, 500.0, 200.0, 0.5).judge().met


def test_a_source_at_rest_meets_the_whole_criterion() -> None:
    evidence = judged(6000, 500.0, 300.0, 0.0).judge()
    assert evidence.met and not evidence.lost
    assert evidence.drift_error_mk < 0.2


def test_nothing_is_said_before_the_window_is_full() -> None:
    evidence = judged(500, 0.0, 300.0, 0.0).judge()
    assert math.isinf(evidence.remaining_mk) and math.isinf(evidence.drift_mk)
    assert not evidence.near


def foretold_small_after_s(start_mk: float, tau_s: float, chance: Random) -> float:
    """When less than 3 mK are foretold for a source first looked at so far from its rest.

    Its noise of 1 mK, what the criterion allows, is alike from reading to reading, as a bath's ripple is.
    """
    transient, ripple_mk = Transient(900.0, 3.0), 0.0
    for second in range(0, 7200, 6):
        left_k = 1e-3 * start_mk * math.exp(-second / tau_s)
        ripple_mk = 0.9 * ripple_mk + chance.gauss(0.0, math.sqrt(1.0 - 0.9**2))
        transient.add(float(second), 50.0 + left_k + 1e-3 * ripple_mk)
        if transient.share <= 1.0:
            return float(second)
    return math.inf


@pytest.mark.parametrize("seed", range(10))
def test_a_source_first_seen_at_rest_is_believed_within_an_hour(seed: int) -> None:
    """It shows no time constant, and noise alone must not keep the run waiting for its longest wait."""
    assert foretold_small_after_s(0.0, 400.0, Random(seed)) < 3600.0


@pytest.mark.parametrize("start_mk", [6.0, 10.0])
@pytest.mark.parametrize("tau_s", [300.0, 700.0, 1100.0])
def test_a_slow_rest_of_an_approach_is_not_believed_too_early(start_mk: float, tau_s: float) -> None:
    for seed in range(5):
        after_s = foretold_small_after_s(start_mk, tau_s, Random(seed))
        assert start_mk * math.exp(-after_s / tau_s) <= 3.6
