"""A salt bath is parked where it is just held molten, never left alone, and frozen only by a cut."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from daemon.arming import arming, unattended_problem
from daemon.guardian.path import orders_of
from daemon.journal.entry import Entry, Kind
from daemon.journal.read import read_entries
from daemon.night import Voice
from daemon.precheck import precheck
from daemon.rehearsal import Rehearsal, rehearse
from daemon.states import State
from daemon.timetable import forecast
from plans.errors import PlanError
from plans.loading import parse_plan
from plans.run_plan import RunPlan
from tests.nights.rehearsed import EXAMPLES

FREEZES_C, LIQUID_C, HELD_C = 142.0, 152.0, 157.0  # from memory: nitrates of potassium and sodium, nitrite

_FLUID = """[fluid]
name = "nitrate and nitrite salt"
kind = "salt"
minimum_c = 150.0
maximum_c = 540.0
freezing_c = 142.0

[bridge]"""
_PLAN = """
[plan]
title = "Tern Rock, in salt"
bench = "bench.toml"
register = "register.toml"
order = "ascending"

[reference]
serial = "TR-REF-01"
channel = 1

[[items]]
serial = "TR-IPRT-11"
channel = 2

[[items]]
serial = "TR-CHK-31"
channel = 3
role = "check_standard"

[zero]
kind = "attended_ice_point"
temperature_c = 170.0
reason = "salt cannot go to 0 °C"

[[points]]
temperature_c = 190.0
"""


def salt(*changes: tuple[str, str], plan: str = "") -> RunPlan:
    """The bath of Tern Rock with salt in its tank."""
    text = (EXAMPLES / "bench-bath.toml").read_text("utf-8")
    before, rest = text.split("[fluid]")
    text = before + _FLUID + rest.split("[bridge]", 1)[1]
    usual = [
        ("minimum_c = -30.0", "minimum_c = 150.0"),
        ("parking_c = 40.0", f"parking_c = {HELD_C}"),
        ('"oil_bath"', '"salt_bath"'),
    ]
    for old, new in [*usual, *changes]:
        assert old in text
        text = text.replace(old, new, 1)
    return parse_plan(_PLAN + plan, text, (EXAMPLES / "register.toml").read_text("utf-8"))


def night(folder: Path, *faults: str) -> tuple[Rehearsal, Path]:
    """A rehearsed night in salt."""
    record = folder / "night.record"
    return rehearse(salt(), record, faults=faults), record


def marks(record: Path, mark: str) -> list[str]:
    """What was said of one kind, in order."""
    told = read_entries(record, frozenset({Kind.MILESTONE}))
    return [str(e.body.get("sentence", e.body.get("reason", ""))) for e in told if e.body["mark"] == mark]


@pytest.fixture(scope="module")
def halted(tmp_path_factory: pytest.TempPathFactory) -> tuple[Rehearsal, Path]:
    """Somebody turns the set-point up at the front panel at the hottest point: the run is parked."""
    return night(tmp_path_factory.mktemp("halted"), "panel-set-point@1:30=205")


@pytest.fixture(scope="module")
def cut(tmp_path_factory: pytest.TempPathFactory) -> tuple[Rehearsal, Path]:
    """The level switch falls: the heater is cut."""
    return night(tmp_path_factory.mktemp("cut"), "level-low@1:30")


def test_an_undisturbed_night_ends_held_molten(tmp_path: Path) -> None:
    rehearsal, _ = night(tmp_path)
    assert rehearsal.outcome.state is State.FINISHED
    source = rehearsal.scene.source
    assert source.controller.heater_on and source.controller.set_point_c >= LIQUID_C
    assert source.medium_c[-1] == pytest.approx(HELD_C, abs=3.0)
    assert min(source.medium_c) > LIQUID_C


def test_a_halt_holds_it_above_freezing_and_says_so(halted: tuple[Rehearsal, Path]) -> None:
    rehearsal, record = halted
    assert rehearsal.outcome.state is State.PARKED
    source = rehearsal.scene.source
    assert source.controller.heater_on and source.medium_c[-1] == pytest.approx(HELD_C, abs=3.0)
    assert min(source.medium_c) > LIQUID_C
    written = [e.body for e in read_entries(record, frozenset({Kind.ACTION}))]
    assert all(b["temperature_c"] >= LIQUID_C for b in written if b["do"] == "write_set_point")
    assert "held at 157 °C, its heater stays on" in marks(record, "what_is_safe")[-1]
    last = [e.body for e in read_entries(record, frozenset({Kind.STATE}))][-1]
    assert last["cause"] == "the source is down, and holds nitrate and nitrite salt molten"


def test_a_cut_remains_a_cut_and_warns_that_it_freezes(cut: tuple[Rehearsal, Path]) -> None:
    rehearsal, record = cut
    source = rehearsal.scene.source
    assert not source.controller.heater_on and source.medium_c[-1] < 45.0
    assert any("freezes at 142 °C and traps the sheaths: call" in s for s in marks(record, "what_is_safe"))


def test_frozen_salt_is_not_heated_by_a_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plans.bench.Bench.start_c", 60.0)
    record = tmp_path / "night.record"
    said: list[Voice] = []

    def impatient(entry: Entry) -> None:
        if entry.kind == Kind.OBSERVATION and 200.0 < entry.when_s < 210.0:
            said[0]("release", "somebody impatient", "")

    outcome = rehearse(salt(), record, listeners=[impatient], hand_over=said.append).outcome
    assert outcome.state is State.PARKED and outcome.cause is not None
    assert outcome.cause.guard == "under_limit" and "set by fluid nitrate" in outcome.cause.sentence
    told = [e.body for e in read_entries(record, frozenset({Kind.ACTION}))]
    assert not any(body.get("on") for body in told)
    assert all(b["temperature_c"] <= HELD_C for b in told if b["do"] == "write_set_point")


def test_check_says_how_it_is_parked_and_that_it_is_not_left_alone() -> None:
    run = salt()
    report = precheck(run, date(2026, 1, 15))
    assert not report.refused
    (molten,) = [one for one in report.cautions if one.check == "molten"]
    assert "holds it at 157 °C with the heater on" in molten.text and "--attended" in molten.text
    assert "heater on: nitrate and nitrite salt is held molten" in forecast(run).rows[-1].what
    assert "--attended" in unattended_problem(run)
    assert any("I stay for the whole run" in item.sentence for item in arming(run).items)


@pytest.mark.parametrize(
    ("changes", "plan", "says"),
    [
        ((("parking_c = 157.0", "parking_c = 150.0"),), "", "parking_c = 157 or more"),
        ((), "[finish]\nparking_c = 152.0\n", "expected 157 °C to 187 °C"),
        ((), '[finish]\nheater = "off"\n', "would freeze"),
    ],
)
def test_no_plan_parks_it_where_it_may_freeze(
    changes: tuple[tuple[str, str], ...], plan: str, says: str
) -> None:
    with pytest.raises(PlanError, match=says):
        salt(*changes, plan=plan)


def test_a_source_whose_heater_cannot_be_switched_off_is_refused(tmp_path: Path) -> None:
    profile = (EXAMPLES.parents[1] / "drivers/profiles/ascii-bath.toml").read_text("utf-8")
    heater = profile[profile.index("[write.heater]") : profile.index("[write.cooling]")]
    without = profile.replace(heater, "").replace('{ write = "heater", value = "off" }, ', "")
    (tmp_path / "plain.toml").write_text(without, "utf-8")
    run = salt(('"ascii-bath"', f'"{tmp_path}/plain.toml"'))
    assert any("no heater switch" in one.text for one in precheck(run, date(2026, 1, 15)).refusals)


def test_the_guardian_holds_it_too() -> None:
    texts = salt().texts
    bench = re.sub(
        '"simulated:(source|bridge)"', '"tcp://127.0.0.1:9"', texts.bench.split("\n[simulation]")[0]
    )
    run = parse_plan(texts.plan, bench, texts.register)
    script = orders_of(run, Path("night.record")).script
    assert script.held and script.parking_c == HELD_C and script.cool_c > HELD_C
    assert all(order.towards_c is None or order.towards_c >= HELD_C for order in script.park)
