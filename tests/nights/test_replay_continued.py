"""Where a changed run parts from its record it goes on in simulation, marked as such from there on."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.journal import store
from daemon.journal.entry import encode
from daemon.journal.read import read_entries, read_opening
from daemon.replay.changed import recorded_plan
from daemon.replay.continued import course, replay_and_continue
from plans.loading import parse_plan
from plans.run_plan import RunPlan
from tests.nights.replayed import brief_night, recorded
from tests.nights.served_night import with_addresses

SLOWER = {"ramp_k_per_min": "2.0"}


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A night in which nothing happens."""
    return recorded(tmp_path_factory.mktemp("quiet") / "night.record", brief_night())


@pytest.fixture(scope="module")
def slower(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same night on the same bench, really run with another ramp."""
    return recorded(tmp_path_factory.mktemp("slower") / "night.record", brief_night(**SLOWER))


def test_the_continued_night_is_the_record_and_then_what_that_bench_would_have_done(
    quiet: Path, slower: Path
) -> None:
    found, continued = replay_and_continue(quiet, brief_night(**SLOWER))
    assert continued is not None and found.parted is not None
    before = [entry for entry in read_entries(quiet) if entry.seq < found.parted.seq]
    outside = sum(e.kind == "opened" or e.body.get("by") == "idle" for e in before)
    assert sum(found.same.values()) == len(before) - outside  # up to there every entry, bit for bit
    entries = list(read_entries(slower))
    truth = course(entries, entries[0].when_s)
    assert continued.from_s == found.parted.since_start_s
    assert (continued.simulated.state, continued.over) == ("finished", True)
    assert continued.simulated.ended_s == pytest.approx(truth.ended_s, rel=0.01)
    assert continued.simulated.ended_s > continued.recorded.ended_s + 60.0
    (point,), (true_point,) = continued.simulated.points, truth.points
    assert point.ended_s == pytest.approx(true_point.ended_s, rel=0.01)
    assert continued.simulated.verdicts == ()


def as_if_real(record: Path, new: Path) -> Path:
    """The same record, of a bench with real addresses."""
    run = with_addresses(recorded_plan(record), {"source": "tcp://bath:4000", "bridge": "tcp://bridge:5025"})
    body = dict(read_opening(record).body) | {"simulated": False, "bench": run.texts.bench}
    with closing(sqlite3.connect(record)) as connection:
        (seq, kind, when_s, utc_s, _, link), *rows = connection.execute("SELECT * FROM entry ORDER BY seq")
    real = store.create(new, synced=False)
    store.append(real, [(seq, kind, when_s, utc_s, encode(body), link), *rows])
    store.close(real)
    return new


def changed(run: RunPlan, old: str, new: str) -> RunPlan:
    return parse_plan(run.texts.plan.replace(old, new), run.texts.bench, run.texts.register, run.names)


def test_a_real_bench_s_record_goes_on_with_its_own_thermometers_as_far_as_they_are_known(
    quiet: Path, slower: Path, tmp_path: Path
) -> None:
    record = as_if_real(quiet, tmp_path / "real.record")
    run = changed(recorded_plan(record), "ramp_k_per_min = 2.5", "ramp_k_per_min = 2.0")
    assert run.bench.simulation is None
    _, continued = replay_and_continue(record, run)
    assert continued is not None and continued.step_k is not None
    assert abs(continued.step_k) < 0.1
    entries = list(read_entries(slower))
    assert continued.simulated.ended_s == pytest.approx(course(entries, entries[0].when_s).ended_s, rel=0.05)
    assert continued.simulated.verdicts == ()  # no guard takes the change of bench for a fault


def test_a_night_that_does_not_part_has_nothing_to_continue(
    quiet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["replay", str(quiet), "--continue", "simulated"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("SAME") and "SIMULATED" not in said
    assert main(["replay", "--all", str(quiet.parent), "--continue", "simulated"]) == 2


def test_what_is_simulated_is_marked_and_compared(
    quiet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    guards = tmp_path / "tighter.toml"
    guards.write_text("[guards.rising_too_fast]\nfactor = 1.001\nstands_s = 5\n", "utf-8")
    words = ["replay", str(quiet), "--guards", str(guards), "--continue", "simulated"]
    assert main(words) == 1
    said = capsys.readouterr().out
    assert "SIMULATED from 0:" in said and "none of it is a calibration" in said
    lines = {line.split()[0]: line for line in said.partition("SIMULATED")[2].splitlines() if line.strip()}
    assert "finished, 52 min" in lines["end"] and "parked, " in lines["end"]
    assert "finished 0:32:49" in lines["point"] and "not finished" in lines["point"]
    assert "guard rising_too_fast (park): recorded 0 times, simulated 1 time" in said
    assert main([*words, "--json"]) == 1
    told = json.loads(capsys.readouterr().out)["continued"]
    assert told["simulated"]["state"] == "parked" and told["from_s"] < told["simulated"]["ended_s"]
