"""A slice of the simulated week: the watch keeps its second, and the figures would show a leak."""

from __future__ import annotations

import pytest

from daemon.states import State
from tests.campaigns.week import Week, endless, simulated


def test_the_watch_looks_every_second_without_drift() -> None:
    week = simulated(1.2)
    assert week.states == [State.RUNNING]
    assert week.mean_s == pytest.approx(1.0, abs=1e-3) and week.longest_s < 1.5
    assert len(week.memory_mib) == 1 and 20.0 < week.memory_mib[0][1] < 2000.0


def test_a_long_run_has_points_for_all_its_time() -> None:
    assert len(endless(56.0).plan.points) > 50


def test_a_leak_of_a_megabyte_an_hour_is_called_one() -> None:
    week = Week.__new__(Week)
    week.memory_mib = [(3600.0 * hour, 100.0 + hour) for hour in range(168)]
    assert week.growth_mib_per_week == pytest.approx(168.0)
