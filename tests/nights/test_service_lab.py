"""One daemon, several benches: each for itself, one run at a time, nothing forgotten over a restart."""

from __future__ import annotations

import os
import signal
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from daemon.journal.entry import Kind
from daemon.journal.read import read_entries, verify
from tests.nights.served_lab import ServedLab, make_lab, served_lab

SLOW = 300.0
"""Simulated seconds per real second: a quick plan then takes longer than a test, until it is halted."""


def states(record: Path) -> list[str]:
    return [str(entry.body["to"]) for entry in read_entries(record, frozenset({Kind.STATE}))]


def actions(record: Path) -> list[object]:
    return [dict(entry.body) for entry in read_entries(record, frozenset({Kind.ACTION}))]


def test_a_submitted_plan_is_run_to_its_end_and_reported(tmp_path: Path) -> None:
    with served_lab(make_lab(tmp_path)) as lab:
        lab.submit("bath", "quick-bath")
        bench = lab.until("bath", lambda b: b["run"] is not None and b["run"]["state"] == "finished")
        assert lab.until_standing("bath", "free")["calls"] == ""
        assert bench["run"]["title"] == "one point near the room"
        record = tmp_path / "records" / "quick-bath-1.record"
        assert verify(record).closed and states(record) == ["running", "finished"]
        assert (record.with_suffix(".report") / "summary.html").is_file()


def test_anyone_may_halt_and_the_next_run_waits_for_a_person(tmp_path: Path) -> None:
    with served_lab(make_lab(tmp_path, SLOW)) as lab:
        lab.submit("bath", "overnight")
        lab.submit("bath", "quick-bath")
        lab.until_readings("bath")
        code, answer = lab.post("/api/benches/bath/halt", {"who": "a passer-by"}, token=None)
        assert (code, answer["effect"]) == (200, True)
        halted = lab.until("bath", lambda b: b["run"]["state"] in ("parking", "parked"))
        assert "a passer-by said halt" in halted["calls"] or "a passer-by" in halted["run"]["cause"]
        halted = lab.until_standing("bath", "needs a person")
        assert [run["plan"] for run in halted["queue"]] == ["quick-bath"]
        assert lab.post("/api/benches/bath/acknowledge", {"who": "passer-by"}, token=None)[0] == 401
        assert lab.post("/api/benches/bath/acknowledge", {"who": "the night watch"})[1]["effect"]
        assert lab.until_standing("bath", "running")["queue"] == []


def test_a_cut_needs_the_token_switches_the_heater_off_and_is_latched(tmp_path: Path) -> None:
    with served_lab(make_lab(tmp_path, SLOW)) as lab:
        lab.submit("block", "block-night")
        lab.until_readings("block")
        said = {"who": "the night watch", "reason": "smell of burning"}
        assert lab.post("/api/benches/block/cut", said, token=None)[0] == 401
        assert lab.bench("block")["run"]["state"] == "running"
        assert lab.post("/api/benches/block/cut", said)[1] == {"effect": True, "sentence": "cut taken"}
        lab.until("block", lambda b: b["run"]["state"] == "cut")
        record = tmp_path / "records" / "block-night-1.record"
        lab.until("block", lambda _: {"do": "switch_heater", "on": False, "by": "cut"} in actions(record))
        assert not lab.post("/api/benches/block/release", {"who": "the night watch"})[1]["effect"]
        lab.post("/api/benches/block/acknowledge", {"who": "the night watch"})
        assert lab.bench("block")["run"]["state"] == "cut"
        words = next(read_entries(record, frozenset({Kind.OPERATOR}))).body
        assert words["word"] == "cut" and said.items() <= words.items()


def test_a_file_halts_too_and_is_taken_away(tmp_path: Path) -> None:
    path = make_lab(tmp_path, SLOW)
    with served_lab(path) as lab:
        lab.submit("bath", "overnight")
        lab.until_readings("bath")
        file = path.with_suffix(".state") / "bath.halt"
        file.touch()
        lab.until("bath", lambda b: b["run"]["state"] in ("parking", "parked"))
        lab.until("bath", lambda _: not file.exists())
        assert "the file bath.halt was there" in lab.get("/benches/bath")[1]


def test_after_a_restart_the_page_still_shows_the_last_night(tmp_path: Path) -> None:
    path = make_lab(tmp_path)
    with served_lab(path) as lab:
        lab.submit("bath", "quick-bath")
        lab.until("bath", lambda b: b["run"] is not None and b["run"]["state"] == "finished")
        lab.until_standing("bath", "free")
    with served_lab(path) as lab:
        shown = lab.until("bath", lambda b: b["run"] is not None)
        assert (shown["standing"], shown["run"]["state"]) == ("free", "finished")
        assert "one point near the room" in lab.get("/benches/bath")[1]


def test_a_hold_stays_until_released(tmp_path: Path) -> None:
    with served_lab(make_lab(tmp_path, SLOW)) as lab:
        lab.submit("bath", "overnight")
        lab.until_readings("bath")
        assert lab.post("/api/benches/bath/hold", {"who": "the night watch"})[1]["effect"]
        lab.until("bath", lambda b: b["run"]["state"] == "holding")
        assert lab.post("/api/benches/bath/release", {"who": "the night watch"})[1]["effect"]
        lab.until("bath", lambda b: b["run"]["state"] == "running")


def test_a_bench_that_dies_is_parked_and_its_neighbour_never_notices(tmp_path: Path) -> None:
    path = make_lab(tmp_path, SLOW)
    with served_lab(path) as lab:
        lab.submit("bath", "overnight")
        lab.submit("block", "block-night")
        lab.until_readings("bath")
        lab.until_readings("block")
        neighbour = lab.process_of("block")
        os.kill(lab.process_of("bath"), signal.SIGKILL)
        lab.until_standing("bath", "needs a person")
        record = tmp_path / "records" / "overnight-1.record"
        assert states(record)[-3:] == ["interrupted", "parking", "parked"]
        assert verify(record).intact and verify(record).closed
        assert lab.process_of("block") == neighbour
        before_s = lab.bench("block")["run"]["elapsed_s"]
        lab.until("block", lambda b: b["run"]["elapsed_s"] > before_s and b["run"]["state"] == "running")


def test_when_the_daemon_dies_its_benches_halt_and_the_next_daemon_waits_for_them(tmp_path: Path) -> None:
    path = make_lab(tmp_path, SLOW)
    with served_lab(path, benches_stay=True) as lab:
        lab.submit("bath", "overnight")
        lab.submit("bath", "quick-bath")
        lab.until_readings("bath")
    with served_lab(path) as lab:
        lab.until_standing("bath", "occupied")
        assert (
            "ended before this daemon began: parked" in lab.until_standing("bath", "needs a person")["calls"]
        )
        assert lab.post("/api/benches/bath/acknowledge", {"who": "the night watch"})[1]["effect"]
        lab.until_standing("bath", "running")
        record = tmp_path / "records" / "overnight-1.record"
        assert verify(record).closed and states(record)[-1] == "parked"


def test_a_run_broken_off_with_its_daemon_is_parked_at_the_next_start(tmp_path: Path) -> None:
    path = make_lab(tmp_path, SLOW)
    with served_lab(path, benches_stay=True) as lab:
        lab.submit("bath", "overnight")
        lab.until_readings("bath")
        pid = lab.process_of("bath")
        os.kill(pid, signal.SIGSTOP)
    os.kill(pid, signal.SIGKILL)
    record = tmp_path / "records" / "overnight-1.record"
    assert states(record) == ["running"]
    with served_lab(path) as lab:
        bench = lab.until_standing("bath", "needs a person")
        assert "broken off" in bench["sentence"]
    assert states(record)[-3:] == ["interrupted", "parking", "parked"] and verify(record).intact


def test_a_damaged_record_is_left_alone_and_its_source_parked_at_the_next_start(tmp_path: Path) -> None:
    path = make_lab(tmp_path, SLOW)
    with served_lab(path, benches_stay=True) as lab:
        lab.submit("bath", "overnight")
        lab.until_readings("bath")
        pid = lab.process_of("bath")
        os.kill(pid, signal.SIGSTOP)
    os.kill(pid, signal.SIGKILL)
    record = tmp_path / "records" / "overnight-1.record"
    with closing(sqlite3.connect(record)) as connection:
        connection.execute("DROP TRIGGER entry_is_never_changed")
        connection.execute("UPDATE entry SET utc_s = 0 WHERE seq = 9")
        connection.commit()
    with served_lab(path) as lab:
        bench = lab.until_standing("bath", "needs a person")
        assert "broken off" in bench["sentence"] and bench["run"]["state"] == "parked"
    assert states(record) == ["running"]
    assert states(record.with_name("overnight-1-parked.record")) == ["interrupted", "parking", "parked"]


def test_where_nobody_can_say_what_was_done_a_person_looks_first(tmp_path: Path) -> None:
    path = make_lab(tmp_path)
    (tmp_path / "records").mkdir()
    (tmp_path / "records" / "night.record").write_bytes(os.urandom(5000))
    with served_lab(path) as lab:
        bench = lab.until_standing("bath", "needs a person")
        assert "night.record cannot be read" in bench["sentence"] and "look" in bench["sentence"]
        assert lab.post("/api/benches/bath/acknowledge", {"who": "the night watch"})[1]["effect"]
        lab.until_standing("bath", "free")


def test_a_run_broken_off_goes_on_where_its_plan_says_continue(tmp_path: Path) -> None:
    path = make_lab(tmp_path, 600.0)
    plan = (tmp_path / "quick-bath.toml").read_text("utf-8")
    resume = '\n[resume]\npolicy = "continue"\nmaximum_gap_s = 600.0\n'
    (tmp_path / "on.toml").write_text(plan + resume, encoding="utf-8")
    with served_lab(path) as lab:
        lab.submit("bath", "on")
        lab.until("bath", lambda b: bool(b["run"]) and b["run"]["elapsed_s"] > 300.0)
        os.kill(lab.process_of("bath"), signal.SIGKILL)
        lab.until("bath", lambda b: b["run"]["state"] == "finished" and b["standing"] == "free")
    record = tmp_path / "records" / "on-1.record"
    assert states(record) == ["running", "interrupted", "running", "finished"] and verify(record).intact


def test_an_orderly_stop_parks_first_and_starts_nothing_more(tmp_path: Path) -> None:
    path = make_lab(tmp_path, 2000.0)
    lab = ServedLab(path)
    lab.start()
    lab.submit("bath", "overnight")
    lab.submit("bath", "quick-bath")
    lab.until_readings("bath")
    lab.stop()
    assert states(tmp_path / "records" / "overnight-1.record")[-1] == "parked"
    assert not (tmp_path / "records" / "quick-bath-2.record").exists()
    assert not (path.with_suffix(".state") / "address").exists()
    with served_lab(path) as again:
        again.until_standing("bath", "needs a person")
    with served_lab(path) as third:
        third.until_standing("bath", "needs a person")
        assert third.post("/api/benches/bath/acknowledge", {"who": "the night watch"})[1]["effect"]
        third.until("bath", lambda b: bool(b["run"]) and b["run"]["record"] == "quick-bath-2.record")


@pytest.mark.parametrize(
    "plan", ["../lab", "none", "too-hot", "quick-block", "bench-bath", "quick-bath.toml", ""]
)
def test_a_plan_that_cannot_be_run_here_is_refused_in_words(plan: str, tmp_path: Path) -> None:
    with served_lab(make_lab(tmp_path)) as lab:
        code, answer = lab.post("/api/benches/bath/submit", {"plan": plan, "who": "the night watch"})
        assert code == (409 if plan else 422) and len(answer["refused"]) > 10
        assert lab.bench("bath")["queue"] == [] and not (tmp_path / "records").exists()


def test_a_link_in_the_plans_folder_is_not_followed(tmp_path: Path) -> None:
    path = make_lab(tmp_path)
    (tmp_path / "linked.toml").symlink_to(tmp_path / "quick-bath.toml")
    with served_lab(path) as lab:
        assert lab.post("/api/benches/bath/submit", {"plan": "linked", "who": "somebody"})[0] == 409


def test_a_plan_that_asks_a_person_is_refused_since_nobody_may_be_there(tmp_path: Path) -> None:
    with served_lab(make_lab(tmp_path)) as lab:
        plan = (tmp_path / "quick-bath.toml").read_text("utf-8")
        attended = plan.replace('role = "check_standard"', "").replace(
            "[finish]", '[points.immersion_profile]\nserial = "TR-CHK-31"\n\n[finish]'
        )
        (tmp_path / "attended.toml").write_text(attended, encoding="utf-8")
        code, answer = lab.post("/api/benches/bath/submit", {"plan": "attended", "who": "somebody"})
        assert code == 409 and "asks a person to withdraw TR-CHK-31" in answer["refused"]


def test_two_daemons_of_one_port_are_refused_in_words(tmp_path: Path) -> None:
    path = make_lab(tmp_path)
    with served_lab(path) as first:
        text = path.read_text("utf-8").replace("port = 0", f"port = {first.port}")
        path.write_text(text, encoding="utf-8")
        with pytest.raises(OSError, match="is taken"):
            ServedLab(path).start()
