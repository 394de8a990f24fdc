"""A second thermometer, the room and interlocks beside the bath: looked at, recorded, and guarded."""

from __future__ import annotations

from collections import Counter
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from daemon.journal.entry import Kind
from daemon.journal.read import read_entries
from daemon.night import Bench, run_night
from daemon.precheck import precheck
from daemon.rehearsal import make_scene, rehearse
from daemon.replay.changed import recorded_plan
from daemon.replay.replay import replay
from daemon.results.beside_panels import strips_of
from daemon.results.export import MONITORED, rows
from daemon.results.night_plot import draw_night
from daemon.results.story import tell
from daemon.states import State
from drivers.clock import Clock
from drivers.registry import SHIPPED
from plans.errors import PlanError
from plans.loading import load_plan, parse_plan
from plans.run_plan import RunPlan
from simulators import virtual_time
from tests.nights.rehearsed import EXAMPLES
from tests.nights.served_night import differences_mk, one_point

THE_DAY = date(2026, 1, 15)  # when the demo's nights begin

BESIDE = """
[readout]
profile = "ascii-readout"
address = "simulated:readout"

[ambient]
profile = "text-ambient"
address = "simulated:ambient"

[interlocks]
profile = "modbus-interlocks"
address = "simulated:interlocks"
minimum_stirrer_speed_per_min = 200
minimum_level_mm = 90
"""


def short_night(beside: str = BESIDE, profile: str | None = None, point_c: float = 23.0) -> RunPlan:
    return one_point("bench-bath.toml", beside, profile, point_c)


def bodies(record: Path, kind: Kind) -> list[dict[str, Any]]:
    return [dict(entry.body) for entry in read_entries(record, frozenset({kind}))]


def looks(record: Path, role: str) -> list[dict[str, Any]]:
    return [
        body for body in bodies(record, Kind.OBSERVATION) if body.get("role") == role and "readings" in body
    ]


def spoken(record: Path) -> list[tuple[str, str]]:
    return [(body["guard"], body["reaction"]) for body in bodies(record, Kind.VERDICT)]


@pytest.fixture(scope="module")
def with_them(tmp_path_factory: pytest.TempPathFactory) -> Path:
    record = tmp_path_factory.mktemp("beside") / "with.record"
    assert rehearse(short_night(), record).outcome.good
    return record


def test_they_are_looked_at_each_at_its_own_pace_and_stand_in_the_record(
    with_them: Path, tmp_path: Path
) -> None:
    without = tmp_path / "without.record"
    assert rehearse(short_night(beside=""), without).outcome.good
    seconds = max(body["at"] for body in bodies(with_them, Kind.OBSERVATION))
    for role, every_s in (("interlocks", 1.0), ("readout", 5.0), ("ambient", 60.0)):
        assert len(looks(with_them, role)) == pytest.approx(seconds / every_s, rel=0.1)
    names = bodies(with_them, Kind.MILESTONE)[0]
    assert (names["readout"], names["ambient"]) == (
        "model EXREAD, serial 0031",
        "maker TERN ROCK WORKSHOP, model ROOM-3, serial 0017, firmware 1.0",
    )
    last = looks(with_them, "interlocks")[-1]
    assert last["states"] == {"stirrer": True, "level_low": False}
    assert last["readings"]["level"] | {"taken": 0} == {
        "unit": "mm",
        "value": 120.0,
        "taken": 0,
        "raw": "04b0",
    }
    assert max(map(abs, differences_mk(with_them, without).values())) < 0.1


def test_all_they_showed_is_drawn_and_exported(with_them: Path, tmp_path: Path) -> None:
    drawn = {(q.role, q.name): len(t.when_s) for strip in strips_of(tell(with_them)) for q, t in strip}
    names = [column.name for column in MONITORED]
    told = [dict(zip(names, row, strict=True)) for row in rows(with_them, "monitored")]
    assert Counter((row["role"], row["name"]) for row in told) == drawn
    assert set(drawn) == {
        *(("interlocks", name) for name in ("stirrer", "level_low", "stirrer_speed", "level")),
        *(("readout", name) for name in ("sensor_a", "sensor_b")),
        *(("ambient", name) for name in ("temperature", "pressure", "humidity")),
    }
    level = next(row for row in told if row["name"] == "level")
    assert (level["value"], level["unit"], level["state"], level["raw"]) == (120.0, "mm", "", "04b0")
    stirrer = next(row for row in told if row["name"] == "stirrer")
    assert (stirrer["value"], stirrer["unit"], stirrer["state"]) == (None, "", "on")
    draw_night(short_night(), tell(with_them), tmp_path / "night")
    temperatures, utc, phases, soaks = 1, 1, 1, 3
    strips = (
        (tmp_path / "night.svg").read_text("utf-8").count('id="axes_') - temperatures - utc - phases - soaks
    )
    assert strips == 7  # one for each instrument and unit


@pytest.mark.parametrize(
    ("fault", "guard"), [("level-low@0:03", "level_low"), ("stirrer-stop@0:03", "stirrer_stopped")]
)
def test_interlocks_cut_the_heat_where_the_controller_itself_sees_nothing(
    fault: str, guard: str, tmp_path: Path
) -> None:
    """This controller tells neither level nor stirrer."""
    record = tmp_path / "night.record"
    run = short_night(profile="modbus-block")
    night = rehearse(run, record, faults=[fault])
    assert night.outcome.cause is not None and night.outcome.cause.guard in (guard, f"{guard}_cold")
    assert night.outcome.state is State.PARKED
    blind = tmp_path / "blind.record"
    rehearse(short_night(beside="", profile="modbus-block"), blind, faults=[fault])
    assert guard not in {name for name, _ in spoken(blind)}


def test_silent_interlocks_stop_the_night_and_a_silent_room_does_not(tmp_path: Path) -> None:
    record = tmp_path / "interlocks.record"
    night = rehearse(short_night(), record, faults=["silence@0:03=interlocks"])
    assert night.outcome.state is State.PARKED
    assert ("interlocks_lost", "park") in spoken(record)
    record = tmp_path / "room.record"
    assert rehearse(short_night(), record, faults=["silence@0:03=ambient"]).outcome.good
    assert {body["role"] for body in bodies(record, Kind.OBSERVATION) if body["what"] == "failed"} == {
        "ambient"
    }


def test_a_bench_never_heats_by_simulated_interlocks() -> None:
    bench = load_plan(EXAMPLES / "short.toml").texts
    real = BESIDE.replace("simulated:interlocks", "tcp://127.0.0.1:502?unit=2")
    with pytest.raises(PlanError, match="simulated throughout"):
        parse_plan(bench.plan, bench.bench.replace("\n[record]", f"{real}\n[record]", 1), bench.register)


def sentences(run: RunPlan) -> str:
    return " ".join(finding.text for finding in precheck(run, THE_DAY).findings)


def test_the_check_says_who_watches_stirrer_and_level() -> None:
    nobody = "Neither controller nor interlocks watch the stirrer"
    assert nobody not in sentences(short_night(beside=""))
    assert nobody in sentences(short_night(beside="", profile="modbus-block"))
    watched = sentences(short_night(profile="modbus-block"))
    assert nobody not in watched and "looked at every second" in watched


def without_tables(*tables: str) -> str:
    """The bath's profile less some of its commands."""
    text = (SHIPPED / "ascii-bath.toml").read_text("utf-8")
    for table in tables:
        before, _, rest = text.partition(f"[{table}]\n")
        text = before + rest[rest.index("\n[") + 1 :]
    return text.replace('{ write = "heater", value = "off" }, ', "")


def test_a_controller_that_cannot_ramp_is_stepped_and_the_check_says_so(tmp_path: Path) -> None:
    profile = tmp_path / "plain-bath.toml"
    profile.write_text(without_tables("write.ramp", "write.heater"), "utf-8")
    usual, run = (slow_night(one) for one in (None, str(profile)))
    said = sentences(run)
    assert "This controller cannot ramp: the daemon will step the set-point." in said
    assert "This controller has no heater switch" in said
    assert "cannot ramp" not in sentences(usual) and "no heater switch" not in sentences(usual)

    scene, record = make_scene(usual), tmp_path / "night.record"
    ends = {name: scene.instrument(name) for name in ("source", "bridge")}
    assert usual.bench.simulation is not None
    bench = Bench(Clock(usual.bench.simulation.start_utc), ends, simulated=True)
    outcome = virtual_time.run(run_night(run, record, bench), end_s=1e6)
    assert outcome.good
    actions = bodies(record, Kind.ACTION)
    assert not {"write_ramp", "switch_heater"} & {body["do"] for body in actions}
    steps = [(body["at_s"], body["temperature_c"]) for body in set_points(record)]
    rises = [(after - before, later - earlier) for (earlier, before), (later, after) in pairwise(steps)]
    climbing = [(rise_k, took_s) for rise_k, took_s in rises if rise_k > 0.0]
    assert len(climbing) > 4
    assert all(rise_k <= 1.0 + 1e-9 and took_s >= 60.0 for rise_k, took_s in climbing)
    assert steps[-2][1] == 32.0


def slow_night(profile: str | None) -> RunPlan:
    """To 32 °C at 1 K/min."""
    texts = short_night(beside="", profile=profile, point_c=32.0).texts
    plan = texts.plan.replace("ramp_k_per_min = 3.0", "ramp_k_per_min = 1.0")
    return parse_plan(plan, texts.bench, texts.register)


def set_points(record: Path) -> list[dict[str, Any]]:
    return [
        {"at_s": entry.when_s, **entry.body}
        for entry in read_entries(record, frozenset({Kind.ACTION}))
        if entry.body["do"] == "write_set_point"
    ]


@pytest.mark.parametrize(("humid_at", "reached"), [("0:00", False), ("0:40", True)], ids=["before", "there"])
def test_water_on_the_heads_skips_the_points_below_zero(tmp_path: Path, humid_at: str, reached: bool) -> None:
    record = tmp_path / "damp.record"
    rehearsal = rehearse(short_night(point_c=-10.0), record, faults=[f"humid-room@{humid_at}=97"])
    assert rehearsal.outcome.state is State.FINISHED
    (skipped,) = [b for b in bodies(record, Kind.MILESTONE) if b["mark"] == "point_skipped"]
    assert "the room's dew point is 2" in skipped["reason"]
    told_c = [b["temperature_c"] for b in bodies(record, Kind.ACTION) if b["do"] == "write_set_point"]
    assert (min(told_c) < -5.0) is reached
    assert replay(record, recorded_plan(record)).identical


def test_dry_air_skips_nothing(tmp_path: Path) -> None:
    record = tmp_path / "dry.record"
    assert rehearse(short_night(point_c=-10.0), record).outcome.good
    assert not [b for b in bodies(record, Kind.MILESTONE) if b["mark"] == "point_skipped"]
