"""Leaving heat alone: who confirmed what and when, and what is refused; the units for the service manager."""

from __future__ import annotations

import configparser
from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path

import pytest

from daemon.arming import VALID_S, NotArmed, arming, confirmed_unasked
from daemon.cli.real import ATTENDED, armed_by_a_person
from daemon.cli.unit import WATCHDOG_S, units
from daemon.computer import computer_problem
from daemon.executor.reactions import LONGEST_CUT_S
from daemon.guardian.orders import Limits
from plans.loading import load_plan
from tests.campaigns.guardian_bench import EXAMPLES, Heard, real_plan, scene
from tests.conversation.served import on_tcp

BATH, BLOCK = real_plan("ascii-bath", "tcp://127.0.0.1:9"), real_plan("modbus-block", "tcp://127.0.0.1:9")
NOW_S = 1.7e9


def test_every_item_is_confirmed_by_name_and_time_and_stands_in_the_record() -> None:
    checklist = arming(BATH)
    for at, item in enumerate(checklist.items):
        checklist.confirm(item.key, "Ada", NOW_S + at)
    entries = checklist.entries(NOW_S + 60.0)
    assert [entry["who"] for entry in entries] == ["Ada"] * len(checklist.items)
    assert [entry["at_utc_s"] for entry in entries] == [NOW_S + at for at in range(len(entries))]
    assert all(entry["word"] == "confirm" for entry in entries)


def test_one_missing_confirmation_refuses_the_arming() -> None:
    checklist = arming(BATH)
    for item in checklist.items[:-1]:
        checklist.confirm(item.key, "Ada", NOW_S)
    with pytest.raises(NotArmed, match="I stay until the first point"):
        checklist.entries(NOW_S)


@pytest.mark.parametrize(("later_s", "holds"), [(VALID_S, True), (VALID_S + 1.0, False), (-60.0, False)])
def test_a_confirmation_holds_ten_minutes_and_not_after_the_clock_was_set_back(
    later_s: float, holds: bool
) -> None:
    checklist = arming(BATH)
    for item in checklist.items:
        checklist.confirm(item.key, "Ada", NOW_S)
    assert (checklist.missing(NOW_S + later_s) == ()) is holds


def test_nobody_confirms_without_a_name() -> None:
    with pytest.raises(NotArmed, match="name"):
        arming(BATH).confirm("stay", "  ", NOW_S)


def test_a_bath_asks_about_its_fluid_and_a_block_about_its_earth() -> None:
    bath, block = ({item.key for item in arming(run).items} for run in (BATH, BLOCK))
    assert "fluid" in bath - block
    assert "earth" in block - bath
    assert {"limits", "probes", "cut_out", "notice", "stay"} <= bath & block


def test_cautions_stand_at_the_step_that_they_belong_to() -> None:
    cautions = {item.key: item.caution for item in arming(BATH).items}
    assert "water away from hot oil" in cautions["fluid"]
    assert "look cold" in cautions["probes"]


def test_everything_may_be_confirmed_unasked_on_a_simulated_bench_only() -> None:
    assert confirmed_unasked(load_plan(EXAMPLES / "short.toml"), "rehearsal", NOW_S).missing(NOW_S) == ()
    with pytest.raises(NotArmed, match="simulated benches"):
        confirmed_unasked(BATH, "Ada", NOW_S)


def answering(but: str = "", seen: list[str] | None = None) -> Callable[[str], str]:
    def ask(question: str) -> str:
        if seen is not None:
            seen.append(question)
        if question.startswith("Your name"):
            return "Ada"
        return "no" if but and but in question else "yes"

    return ask


@contextmanager
def cold_bath():  # type: ignore[no-untyped-def]
    heard = Heard(scene("ascii-bath").instrument("source"))
    with on_tcp(heard) as port:
        yield real_plan("ascii-bath", f"tcp://127.0.0.1:{port}"), heard


def test_a_person_arms_a_drilled_guardian_before_any_heat(tmp_path: Path) -> None:
    with cold_bath() as (run, heard):
        said, keeper = armed_by_a_person(run, tmp_path / "night.record", answering(), "account")
        assert keeper is not None
        keeper.disarm()
        assert {entry["who"] for entry in said} == {"Ada"}
        assert heard.first(b"WH0") is not None and heard.first(b"WH1") is None
    assert "drill passed" in (tmp_path / "night.guardian.log").read_text("utf-8")


def test_a_no_at_any_step_arms_nothing(tmp_path: Path) -> None:
    with cold_bath() as (run, _), pytest.raises(NotArmed, match="emergency notice"):
        armed_by_a_person(run, tmp_path / "night.record", answering("emergency notice"), "account")


def test_without_a_guardian_only_somebody_who_stays_may_heat(tmp_path: Path) -> None:
    seen: list[str] = []
    run = real_plan("ascii-bath", "visa:GPIB0::7::INSTR")
    with pytest.raises(NotArmed, match="unattended heat needs a guardian"):
        armed_by_a_person(run, tmp_path / "night.record", answering(ATTENDED, seen), "account")
    said, keeper = armed_by_a_person(run, tmp_path / "night.record", answering(), "account")
    assert keeper is None
    assert said[-1]["word"] == "attended" and "VISA" in str(said[-1]["reason"])


def test_a_failed_drill_leaves_only_attended_heat(tmp_path: Path) -> None:
    with cold_bath() as (run, heard):
        heard.deaf = True
        with pytest.raises(NotArmed, match="drill failed"):
            armed_by_a_person(run, tmp_path / "night.record", answering(ATTENDED), "account")


def test_the_units_keep_daemon_and_guardian_apart_and_let_the_guardian_act_first() -> None:
    read = {}
    for name, text in units("ohmvigil").items():
        read[name] = configparser.ConfigParser(strict=False, interpolation=None)
        read[name].optionxform = str  # type: ignore[assignment,method-assign]
        read[name].read_string(text)
    daemon, guardian = read["ohmvigil.service"], read["ohmvigil-guardian.service"]
    assert float(daemon["Service"]["WatchdogSec"]) == WATCHDOG_S > 2.0 * Limits().dead_after_s
    assert daemon["Service"]["Restart"] == "on-failure"
    assert "--park" in daemon["Service"]["ExecStopPost"]
    assert daemon["Service"]["ExecStart"].endswith("serve /etc/ohmvigil/lab.toml")
    assert daemon["Service"]["KillMode"] == "mixed"
    assert float(daemon["Service"]["TimeoutStopSec"]) > LONGEST_CUT_S
    assert guardian["Service"]["Restart"] == "always"
    assert int(guardian["Service"]["OOMScoreAdjust"]) < int(daemon["Service"]["OOMScoreAdjust"])
    assert not {"BindsTo", "PartOf", "Requires"} & set(guardian["Unit"])
    assert all(unit["Service"]["NoNewPrivileges"] == "yes" for unit in read.values())


def test_a_real_run_needs_room_for_its_record_and_a_clock_that_goes_forward(tmp_path: Path) -> None:
    records = tmp_path / "records"
    assert computer_problem(records, NOW_S, least_free_mib=1) == ""
    assert "make room" in computer_problem(records, NOW_S, least_free_mib=10**12)
    records.mkdir()
    (records / "night.record").touch()
    written_s = (records / "night.record").stat().st_mtime
    assert computer_problem(records, written_s, least_free_mib=1) == ""
    assert "set the clock right" in computer_problem(records, written_s - 3600.0, least_free_mib=1)
