"""Each thermometer is recognised on its channel before heat, or the run does not begin."""

from __future__ import annotations

from pathlib import Path

from daemon.journal.entry import Kind
from daemon.journal.read import read_entries, verify
from daemon.rehearsal import make_scene, rehearse
from daemon.results.calibrate import calibrate
from daemon.results.judgement import judge_night
from daemon.results.story import tell
from daemon.service.recovery import ended_as
from plans.loading import load_plan, parse_plan
from plans.run_plan import RunPlan
from tests.nights.rehearsed import EXAMPLES

PAIR = ("TR-IPRT-11", "TR-IPRT-12")


def known_pair(more_bench: str = "") -> RunPlan:
    """The short example with two industrial thermometers whose R0 is on file, measured without fault."""
    texts = load_plan(EXAMPLES / "short.toml").texts
    items = '[[items]]\nserial = "TR-IPRT-12"\nchannel = 4\n\n[defaults]'
    plan = texts.plan.replace("[defaults]", items)
    sound = make_scene(parse_plan(plan, texts.bench, texts.register))
    register = texts.register
    for serial in PAIR:
        r0_ohm = sound.truth(serial).truth.resistance_ohm(0.0, 1.0)
        register = register.replace(
            f'serial = "{serial}"', f'serial = "{serial}"\nlast_r0_ohm = {r0_ohm:.4f}'
        )
    return parse_plan(plan, texts.bench + more_bench, register)


def marks(record: Path, mark: str) -> list[dict[str, object]]:
    entries = read_entries(record, frozenset({Kind.MILESTONE}))
    return [dict(entry.body) for entry in entries if entry.body["mark"] == mark]


def test_a_swapped_pair_is_found_and_nothing_is_heated(tmp_path: Path) -> None:
    record = tmp_path / "night.record"
    rehearsal = rehearse(known_pair(), record, faults=["swapped-channels@0:00=2:4"])
    (end,) = marks(record, "run_ended_early")
    assert "nothing was heated: TR-IPRT-11 and TR-IPRT-12 are exchanged" in str(end["reason"])
    assert not rehearsal.outcome.good and "exchanged" in rehearsal.outcome.early
    assert "finished before its plan was done" in ended_as(record)
    assert marks(record, "point_started") == []
    assert not any(e.body.get("on") is True for e in read_entries(record, frozenset({Kind.ACTION})))
    assert rehearsal.scene.truth("TR-IPRT-11").highest_c < 30.0


def test_thermometers_on_their_channels_are_not_doubted(tmp_path: Path) -> None:
    record = tmp_path / "night.record"
    assert rehearse(known_pair(), record).outcome.good
    assert marks(record, "identity_doubted") == [] == marks(record, "run_ended_early")


def test_shorted_turns_are_recognised_before_heat(tmp_path: Path) -> None:
    record = tmp_path / "night.record"
    rehearse(known_pair("\n[simulation.truths.TR-IPRT-11]\nshorted_turns = 0.01\n"), record)
    (end,) = marks(record, "run_ended_early")
    assert "channel 2 (TR-IPRT-11) reads -2." in str(end["reason"])
    assert "shorted turns read low" in str(end["reason"])


def test_a_moist_thermometer_is_recognised_and_named_in_the_morning(tmp_path: Path) -> None:
    record = tmp_path / "night.record"
    rehearse(known_pair("\n[simulation.truths.TR-IPRT-12]\ninsulation_mohm = 0.4\n"), record)
    (doubt,) = marks(record, "identity_doubted")
    assert doubt["name"] == "TR-IPRT-12"
    assert -120.0 < float(str(doubt["away_mk"])) < -50.0
    flags = judge_night(calibrate(record), tell(record), verify(record)).flags
    assert any(flag.startswith("TR-IPRT-12 reads -") and "moist" in flag for flag in flags)
