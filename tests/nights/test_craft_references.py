"""Two references in one run: the mean counts, both are shown, and their disagreement is never hidden."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.guards.references_apart import ReferencesApart
from daemon.journal.entry import Kind
from daemon.journal.read import read_entries, verify
from daemon.observations import Resistance
from daemon.rehearsal import rehearse
from daemon.results.calibrate import calibrate
from daemon.results.judgement import judge_night
from daemon.results.page_points import points_section
from daemon.results.references import Apart, disagreement, to_the_mean
from daemon.results.story import tell
from drivers.quantities import Reading
from plans.errors import PlanError
from plans.loading import load_plan, parse_plan
from plans.run_plan import RunPlan
from tests.guards.watched import FURTHER as FURTHER_CHANNEL
from tests.guards.watched import World, constant, situation_of
from tests.nights.rehearsed import EXAMPLES
from tests.nights.test_craft_sequences import measured, reduced

FURTHER = "TR-CHK-31"
CHANGED_AFTER_S = 110 * 60.0


def two_references(serial: str = FURTHER) -> RunPlan:
    """The short example, its check standard taken as a second reference."""
    texts = load_plan(EXAMPLES / "short.toml").texts
    plan = texts.plan.replace('role = "check_standard"', 'role = "further_reference"')
    return parse_plan(plan.replace(FURTHER, serial), texts.bench, texts.register)


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A night in which the second reference shows 60 mK too much from 1 h 50 min on."""
    path = tmp_path_factory.mktemp("references") / "night.record"
    rehearse(two_references(), path, faults=["step@1:50=3:0.06"])
    return path


def test_the_mean_of_both_is_the_temperature_and_half_their_difference_in_the_budget(record: Path) -> None:
    night = calibrate(record)
    assert [item.serial for item in night.items] == ["TR-IPRT-11"]
    assert [one.index for one in night.references] == [0, 1, 2]
    for point, one in zip(night.items[0].points, night.references, strict=True):
        first_c = one.temperature_c
        assert point.temperature_c == pytest.approx(first_c + 0.5e-3 * one.difference_mk, abs=1e-4)
    (line,) = disagreement(night.references)
    assert line.size == pytest.approx(0.5 * max(abs(one.difference_mk) for one in night.references))


def test_a_disagreement_beyond_the_certificates_is_flagged_and_shown(record: Path) -> None:
    night, story = calibrate(record), tell(record)
    apart = [one.index for one in night.references if not one.agrees]
    assert apart == [1, 2]
    flags = judge_night(night, story, verify(record)).flags
    told = [flag for flag in flags if flag.startswith(f"References TR-REF-01 and {FURTHER} are ")]
    assert len(told) == 2 and "one of them has changed, or the source is not uniform" in told[0]
    page = str(points_section(night, story))
    assert page.count(f"<td>{FURTHER}</td>") == 3 and page.count(">NO</td>") == 2


def test_it_is_marked_while_the_night_still_runs_and_not_before(record: Path) -> None:
    entries = [entry for entry in read_entries(record) if entry.kind == Kind.VERDICT]
    said = next(entry for entry in entries if entry.body["guard"] == "references_apart")
    assert {entry.body["guard"] for entry in entries} == {"references_apart"}
    assert said.body["reaction"] == "mark" and f"{FURTHER} shows +" in said.body["sentence"]
    assert CHANGED_AFTER_S < said.when_s < CHANGED_AFTER_S + 1200.0


def test_thermal_emf_is_no_disagreement_where_the_current_is_reversed() -> None:
    """16 µV in one pair of leads are 40 mK at 1 mA: each way alone reads wrong, the mean of both does not."""
    situation, guard = situation_of(World(further=constant(100.0))), ReferencesApart()
    visits = [(channel, way) for channel in (1, 2, FURTHER_CHANNEL) for way in (1.0, -1.0)]
    readings = [visit for visit in (*visits, *reversed(visits)) for _ in range(3)] * 30
    for second, (channel, way) in enumerate(readings):
        away_k = 0.04 * way if channel == FURTHER_CHANNEL else 0.0
        reading = Reading(140.0 + 0.4 * away_k, "ohm", float(second))
        observation = Resistance(float(second), channel, way, reading)
        situation.observe(observation)
        assert guard.judge(observation, situation) is None


def test_one_that_is_missing_at_a_point_leaves_the_first_alone_there() -> None:
    point = reduced(measured(0.0, 3))
    aparts = (Apart(7, FURTHER, 40.0, 10.0, 20.0),)
    assert to_the_mean([point], aparts) == (point,)


def test_three_references_count_alike() -> None:
    point = reduced(measured(0.0, 3))
    aparts = tuple(Apart(0, name, 40.0, mk, 20.0) for name, mk in (("A", 3.0), ("B", 6.0)))
    (found,) = to_the_mean([point], aparts)
    assert found.temperature_c - point.temperature_c == pytest.approx(3e-3)


def test_a_thermometer_without_a_certificate_is_no_reference() -> None:
    with pytest.raises(PlanError, match="has no calibration in register"):
        two_references("TR-IPRT-13")
