"""A short, seeded slice of the coverage campaign: does the stated 95 % interval hold the truth?

Bounds are five binomial standard errors or more from the figures of the long campaign, the seed is fixed.
"""

from __future__ import annotations

import pytest

from tests.campaigns import coverage_calibrations as campaign

_TRIALS = 150


@pytest.mark.parametrize("index", range(4))
def test_the_stated_interval_holds_the_truth(index):
    tally = campaign.run(campaign.CALIBRATIONS[index], _TRIALS, seed=11)
    assert 0.91 < tally.coverage.mean() < 0.985
    assert tally.coverage.min() > 0.86
    assert 0.7 < tally.chi_squared_per_freedom / _TRIALS < 1.4


def test_dropping_the_correlations_loses_coverage():
    habits = campaign.Habits(correlations_dropped=True)
    assert campaign.run(campaign.CALIBRATIONS[0], _TRIALS, 11, habits).coverage.min() < 0.88


def test_a_stem_loss_left_out_loses_coverage_and_chi_squared_does_not_see_it():
    habits = campaign.Habits(stem_loss_k_per_k=10e-6)
    tally = campaign.run(campaign.CALIBRATIONS[1], _TRIALS, 11, habits)
    assert tally.coverage.min() < 0.75
    assert tally.chi_squared_per_freedom / _TRIALS < 1.3


def test_the_misfit_line_restores_what_a_forced_equation_loses():
    forced = campaign.Habits(equation="callendar_van_dusen")
    lined = campaign.Habits(equation="callendar_van_dusen", misfit_line=True)
    assert campaign.run(campaign.WIDE, 60, 11, forced).coverage.min() < 0.5
    assert campaign.run(campaign.WIDE, 60, 11, lined).coverage.min() > 0.95


def test_the_same_seed_gives_the_same_campaign():
    first, second = (campaign.run(campaign.CALIBRATIONS[0], 3, 5) for _ in range(2))
    assert (first.inside == second.inside).all()
    assert first.chi_squared_per_freedom == second.chi_squared_per_freedom
