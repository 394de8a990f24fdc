"""The main job, end to end, on a simulated bench."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from daemon.journal.entry import Kind
from daemon.journal.read import read_entries, verify
from daemon.rehearsal import rehearse
from daemon.results.calibrate import calibrate
from daemon.results.gather import measured_points
from daemon.results.judgement import judge_night
from daemon.results.story import tell
from daemon.states import State
from plans.loading import with_seed
from tests.nights.rehearsed import RehearsedNight

Night = Callable[..., RehearsedNight]


def worst_ratio(night: RehearsedNight) -> float:
    """Largest error of any interpolated temperature over its stated expanded uncertainty."""
    ratios = []
    for item in calibrate(night.record).items:
        characteristic = item.characteristic
        assert characteristic is not None, item.problem
        grid = np.linspace(*characteristic.range_c, 81)
        truth = night.rehearsal.scene.truth(item.serial).truth
        true_ohm = np.array([truth.resistance_ohm(float(t), 1.0) for t in grid])
        error_k = characteristic.temperature_c(np.clip(true_ohm, *characteristic.range_ohm)) - grid
        ratios.append(float(np.max(np.abs(error_k) / characteristic.expanded_uncertainty_k(grid))))
    return max(ratios)


def test_the_night_comes_to_its_end(overnight: RehearsedNight) -> None:
    assert overnight.rehearsal.outcome.good
    assert overnight.rehearsal.outcome.cause is None


def test_nothing_is_flagged_after_an_undisturbed_night(overnight: RehearsedNight) -> None:
    path = overnight.record
    judgement = judge_night(calibrate(path), tell(path), verify(path))
    assert judgement.flags == ()
    assert judgement.good
    assert judgement.headline.startswith("Finished: 9 of 9 points measured, 6 of 6 thermometers")


def test_every_point_is_read_at_rest(overnight: RehearsedNight) -> None:
    points = measured_points(overnight.record)
    assert [point.temperature_c for point in points] == [
        0.0,
        40.0,
        70.0,
        100.0,
        130.0,
        160.0,
        200.0,
        100.0,
        0.0,
    ]
    assert all(point.settled for point in points)
    assert all(len(readings) >= 10 for point in points for readings in point.readings.values())


def test_every_interpolated_temperature_lies_within_its_stated_uncertainty(overnight: RehearsedNight) -> None:
    assert worst_ratio(overnight) < 1.0


def test_the_sequence_is_symmetrical_in_time(overnight: RehearsedNight) -> None:
    for point in measured_points(overnight.record):
        for cycle in (1, 2, 3):
            middles = [
                np.mean([r.when_s for r in readings if r.cycle == cycle])
                for readings in point.readings.values()
            ]
            assert max(middles) - min(middles) < 3.0


def test_the_record_is_one_intact_chain(overnight: RehearsedNight) -> None:
    found = verify(overnight.record)
    outcome = overnight.rehearsal.outcome
    assert found.intact and found.closed
    assert (found.head, found.entries) == (outcome.head, outcome.entries)


def test_nothing_is_done_before_it_is_written(overnight: RehearsedNight) -> None:
    asked: set[int] = set()
    for entry in read_entries(overnight.record, frozenset({Kind.ACTION, Kind.OBSERVATION})):
        if entry.kind == Kind.ACTION:
            asked.add(entry.seq)
        elif entry.body["of"]:
            assert entry.body["of"] in asked


def test_the_same_seed_gives_the_same_record_byte_for_byte(night: Night, tmp_path: Path) -> None:
    first = night("short.toml")
    second = tmp_path / "second.record"
    rehearse(first.run, second)
    assert first.record.read_bytes() == second.read_bytes()


def test_another_seed_gives_another_record(night: Night, tmp_path: Path) -> None:
    first = night("short.toml")
    outcome = rehearse(with_seed(first.run, 2), tmp_path / "other.record").outcome
    assert outcome.good and outcome.head != first.rehearsal.outcome.head


def test_a_front_panel_change_halts_before_any_probe_passes_its_rating(night: Night) -> None:
    changed = night("block-night.toml", "panel-set-point@5:00=480")
    outcome = changed.rehearsal.outcome
    assert outcome.state is State.PARKED
    assert outcome.cause is not None and outcome.cause.guard == "set_point_readback"
    for serial, probe in changed.rehearsal.scene.probes.items():
        assert probe.highest_c < changed.run.thermometer(serial).maximum.value


def test_one_open_item_does_not_cost_the_others_their_night(night: Night) -> None:
    broken = night("short.toml", "open-lead@1:30=3")
    assert broken.rehearsal.outcome.good
    last = measured_points(broken.record)[-1]
    assert 3 not in last.readings and 2 in last.readings


def test_a_short_silence_holds_and_the_point_is_soaked_again(night: Night) -> None:
    silent = night("short.toml", "silence@1:10=source/20")
    states = [e.body["to"] for e in read_entries(silent.record, frozenset({Kind.STATE}))]
    assert states == ["running", "holding", "running", "finished"]
    assert sum(point.soaked_again for point in measured_points(silent.record)) == 1


@pytest.mark.parametrize(
    ("fault", "guard"),
    [
        ("stuck-relay@1:20", "rising_too_fast"),
        ("heater-open@1:20", "no_rise"),
        ("brown-out@1:20/40", "source_came_back"),
        ("short@1:30=1", "reference_fault"),
    ],
)
def test_a_fault_ends_cold_and_is_named(night: Night, fault: str, guard: str) -> None:
    ended = night("short.toml", fault)
    outcome = ended.rehearsal.outcome
    assert outcome.state is State.PARKED and outcome.cause is not None
    spoke = {e.body["guard"] for e in read_entries(ended.record, frozenset({Kind.VERDICT}))}
    assert guard in spoke
    for serial, probe in ended.rehearsal.scene.probes.items():
        assert probe.highest_c < ended.run.thermometer(serial).maximum.value
