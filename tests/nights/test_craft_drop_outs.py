"""A thermometer that turns noisy, or joins late, is marked and left out; the others keep their night."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from daemon.equilibrium import Criterion, Equilibrium
from daemon.journal.entry import Kind
from daemon.journal.read import read_entries, verify
from daemon.rehearsal import rehearse
from daemon.results.calibrate import NightResult, calibrate
from daemon.results.judgement import judge_night
from daemon.results.story import tell
from plans.loading import load_plan, parse_plan
from tests.nights.rehearsed import EXAMPLES

GOOD, NOISY, LATE = "TR-IPRT-11", "TR-CHK-31", "TR-IPRT-12"
BATH = Criterion(window_s=600.0, drift_mk=2.0, scatter_mk=1.0, item_drift_mk=1.0, remaining_mk=3.0)


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A short night: channel 3 turns noisy after 40 min, channel 4 is plugged in after 30 min."""
    texts = load_plan(EXAMPLES / "short.toml").texts
    items = f'[[items]]\nserial = "{LATE}"\nchannel = 4\n\n[defaults]'
    plan = texts.plan.replace("[defaults]", items).replace("40.0", "20.0")
    plan = plan.replace("[zero]\n", '[zero]\nlast = false\nreason = "long enough for drop-outs"\n')
    run = parse_plan(plan, texts.bench, texts.register)
    path = tmp_path_factory.mktemp("drop_outs") / "night.record"
    rehearse(run, path, faults=["noisy@0:40=3", "open-lead@0:00=4/1800"])
    return path


def left_out(record: Path) -> dict[str, str]:
    marks = [entry.body for entry in read_entries(record, frozenset({Kind.MILESTONE}))]
    return {mark["name"]: mark["reason"] for mark in marks if mark["mark"] == "item_left_out"}


def result(record: Path) -> NightResult:
    return calibrate(record)


def test_both_are_marked_with_the_reason(record: Path) -> None:
    found = left_out(record)
    assert set(found) == {NOISY, LATE}
    assert found[NOISY].startswith("too noisy") and "open lead" in found[LATE]


def test_the_others_keep_every_point(record: Path) -> None:
    points = result(record).item(GOOD).points
    assert [point.settled for point in points] == [True, True]


def test_the_late_joiner_is_not_accepted(record: Path) -> None:
    assert result(record).item(LATE).points == ()
    flags = judge_night(result(record), tell(record), verify(record)).flags
    assert any(flag.startswith(f"{LATE}: no characteristic") for flag in flags)


def equilibrium(noise_mk: dict[int, float]) -> Equilibrium:
    chance, found = Random(7), Equilibrium(BATH, 1, (2, 3))
    for second in range(0, 900, 6):
        for channel in (1, 2, 3):
            t_c = 40.0 + 1e-3 * chance.gauss(0.0, noise_mk.get(channel, 0.2))
            found.add(channel, second + channel, t_c)
    return found


def test_only_the_noisy_one_is_named_and_none_where_all_are_noisy() -> None:
    assert set(equilibrium({3: 40.0}).too_noisy()) == {3}
    assert equilibrium({}).too_noisy() == {}
    assert equilibrium({2: 40.0, 3: 40.0}).too_noisy() == {}
