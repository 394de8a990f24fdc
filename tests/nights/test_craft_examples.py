"""Every example night comes to its end, and its results hold against the truth that the fit never saw."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from daemon.precheck import precheck
from daemon.results.calibrate import calibrate
from plans.loading import load_plan
from tests.nights.rehearsed import EXAMPLES, RehearsedNight, rehearsed
from tests.nights.test_whole_night import worst_ratio

THE_DAY = date(2026, 1, 15)  # when the demo's nights begin

NIGHTS = ("iprt-bath.toml", "semi-wide.toml", "sprt-bath.toml", "sprt-pair.toml", "furnace.toml")


@pytest.fixture(scope="module", params=NIGHTS)
def example(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> RehearsedNight:
    return rehearsed(request.param, tmp_path_factory.mktemp("example") / "night.record")


def test_its_results_hold_at_every_temperature(example: RehearsedNight) -> None:
    assert example.rehearsal.outcome.good and example.rehearsal.outcome.cause is None
    items = calibrate(example.record).items
    assert all(point.settled for item in items for point in item.points)
    assert worst_ratio(example) < 1.0
    for item in items:
        assert (item.shift_mk is None) != (item.return_mk is None)
        assert all("R0 shift of the item" in {line.name for line in budget.lines} for budget in item.budgets)
    for serial, probe in example.rehearsal.scene.probes.items():
        assert probe.highest_c < example.run.thermometer(serial).maximum.value


@pytest.mark.parametrize(
    "name", sorted(path.name for path in EXAMPLES.glob("*.toml") if "[[points]]" in path.read_text())
)
def test_every_example_plan_may_be_run_but_the_one_made_to_be_refused(name: str) -> None:
    assert precheck(load_plan(Path(EXAMPLES / name)), THE_DAY).refused == (name == "too-hot.toml")
