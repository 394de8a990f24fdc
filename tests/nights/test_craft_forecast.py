"""The forecast learns from the bench's own records, and the night ahead can be seen as a picture."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.journal import store
from daemon.learning.timing import Leg, Walk, learn_timing, walk, walks_before
from daemon.rehearsal import rehearse
from daemon.timetable import approach_time_s, forecast, smallness
from plans.learned import Cooling
from plans.loading import load_plan
from tests.nights.rehearsed import EXAMPLES


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    """A folder with one run of the short example and a torn file; and how long the run took, in s."""
    folder = tmp_path_factory.mktemp("records")
    ends: list[float] = []
    rehearse(
        load_plan(EXAMPLES / "short.toml"),
        folder / "one.record",
        listeners=[lambda entry: ends.append(entry.when_s) if entry.body.get("mark") == "parking" else None],
    )
    (folder / "torn.record").write_bytes(b"torn")
    return folder, ends[0]


def test_the_forecast_comes_nearer_to_what_this_bench_really_does(records: tuple[Path, float]) -> None:
    run, (folder, took_s) = load_plan(EXAMPLES / "short.toml"), records
    walks = walks_before(folder, run)
    assert [len(walk.legs) for walk in walks] == [3]
    guess_s, known_s = (forecast(run, timing).rows[-1].from_s for timing in (None, learn_timing(walks)))
    assert abs(known_s - took_s) < abs(guess_s - took_s)


def test_how_long_the_computer_had_been_on_is_no_part_of_the_night(
    records: tuple[Path, float], tmp_path: Path
) -> None:
    record = records[0] / "one.record"
    with closing(sqlite3.connect(record)) as connection:
        rows = connection.execute("SELECT * FROM entry ORDER BY seq").fetchall()
    later = store.create(tmp_path / "later.record", synced=False)
    store.append(later, [(seq, kind, when_s + 1e6, *rest) for seq, kind, when_s, *rest in rows])
    store.close(later)
    lead_in_s = walk(record)[1].lead_in_s
    assert walk(tmp_path / "later.record")[1].lead_in_s == lead_in_s < 600.0


def test_another_bench_s_records_say_nothing(records: tuple[Path, float]) -> None:
    assert walks_before(records[0], load_plan(EXAMPLES / "block-night.toml")) == []
    assert walks_before(records[0] / "nowhere", load_plan(EXAMPLES / "short.toml")) == []
    assert learn_timing([]) is None


def test_check_says_by_what_it_forecasts_and_draws_the_night(
    records: tuple[Path, float], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("short.toml", "bench-bath.toml", "register.toml"):
        shutil.copy(EXAMPLES / name, tmp_path / name)
    words = ["check", str(tmp_path / "short.toml"), "--plot", str(tmp_path / "ahead")]
    assert main([*words, "--records", str(records[0])]) == 0
    assert "Forecast by this bench's own nights (3 points in 1 run): ±" in capsys.readouterr().out
    assert (tmp_path / "ahead.png").stat().st_size > 10_000


def test_how_a_bench_cools_and_where_it_rests_sooner_is_found_again() -> None:
    """Ways made by a known law; the one that had to come to rest twice lengthens their mean, not the law."""
    run = load_plan(EXAMPLES / "short.toml")
    law = Cooling(towards_c=-60.0, time_constant_s=6000.0)
    temperatures_c = [22.0, 0.0, 150.0, 146.0, 60.0, 48.0, 0.0, 190.0, 110.0, 90.0, 15.0]
    legs = [
        Leg(
            run,
            from_c,
            to_c,
            2.0,
            approach_time_s(run, from_c, to_c, 2.0, law),
            3000.0 + 800.0 * smallness(abs(to_c - from_c)) - 200.0 * (to_c - 100.0) / 100.0,
        )
        for from_c, to_c in pairwise(temperatures_c)
    ]
    legs[3] = replace(legs[3], settling_s=legs[3].settling_s + 2500.0)
    timing = learn_timing([Walk(Path("made"), 200.0, tuple(legs))])
    assert timing is not None and timing.rising is not None
    assert timing.rising.settling_s == pytest.approx(3000.0 + 2500.0 / len(legs), abs=20.0)
    assert timing.small_step_s == pytest.approx(800.0, abs=20.0)
    assert timing.hotter_s == pytest.approx(-200.0, abs=20.0)
    for from_c, to_c in ((120.0, 30.0), (190.0, 5.0), (60.0, 20.0)):
        known, found = (approach_time_s(run, from_c, to_c, 2.0, one) for one in (law, timing.cooling))
        assert found == pytest.approx(known, rel=0.05)
