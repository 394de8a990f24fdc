"""A check standard tells when a reference fails, and since when its results are suspect."""

from __future__ import annotations

import math
from random import Random

import pytest

from daemon.history.chart import control_chart


def quiet(runs: int, seed: int = 1) -> list[float]:
    chance = Random(seed)
    return [2.0 + chance.gauss(0.0, 0.5) for _ in range(runs)]


def test_seven_runs_set_no_limits() -> None:
    chart = control_chart(quiet(7))
    assert set(chart.marks) == {"too few"}
    assert chart.sentence == "7 of at least 8 runs: no limits yet"


def test_limits_are_provisional_until_the_twentieth_run() -> None:
    assert control_chart(quiet(12)).provisional
    assert not control_chart(quiet(30)).provisional
    assert control_chart(quiet(30)).baseline == 20


def test_a_jump_calls_for_action_and_says_since_when() -> None:
    chart = control_chart([*quiet(20), 2.0, 8.0, 8.2])
    assert chart.marks[-3:] == ("good", "action", "action")
    assert chart.suspect_since == 21


def test_a_value_that_calls_for_action_does_not_move_the_limits() -> None:
    assert control_chart([*quiet(10), 50.0]).mean == pytest.approx(control_chart(quiet(10)).mean)


def test_the_same_value_over_and_over_is_on_neither_side() -> None:
    assert control_chart([2.0] * 20).marks[-1] == "good"


def test_two_to_three_standard_deviations_warn() -> None:
    base = [1.0, -1.0] * 10
    chart = control_chart([*base, 2.5 * chart_s(base)])
    assert chart.marks[-1] == "warning" and chart.suspect_since is None


def chart_s(values: list[float]) -> float:
    return control_chart(values).s


def test_a_slow_drift_to_one_side_is_seen_before_the_limits_are() -> None:
    base = [1.0, -1.0] * 10
    chart = control_chart([*base, *[0.9] * 8])
    assert chart.marks[-1] == "action"
    assert "warning" not in chart.marks


def test_a_good_run_after_a_bad_one_ends_the_suspicion() -> None:
    assert control_chart([*quiet(20), 9.0, 2.0]).suspect_since is None


def test_nothing_to_chart_is_no_error() -> None:
    chart = control_chart([])
    assert chart.marks == () and math.isnan(chart.mean)
