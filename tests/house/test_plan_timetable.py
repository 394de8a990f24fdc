"""The forecast before heat: when what happens, how near the limit, how long in all."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.cli.say import hours
from daemon.timetable import approach_time_s, forecast, presence_at, sequence_time_s
from plans.loading import load_plan, parse_plan
from plans.unroll import measuring_steps

EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"


@pytest.mark.parametrize(
    ("name", "hours"), [("overnight.toml", 13.0), ("short.toml", 4.0), ("block-night.toml", 11.5)]
)
def test_the_examples_last_as_long_as_they_say(name: str, hours: float) -> None:
    assert forecast(load_plan(EXAMPLES / name)).total_s / 3600.0 == pytest.approx(hours, abs=1.0)


def test_rows_follow_each_other_without_a_gap() -> None:
    timetable = forecast(load_plan(EXAMPLES / "overnight.toml"))
    assert timetable.rows[0].from_s == 0.0
    assert all(before.to_s == after.from_s for before, after in pairwise(timetable.rows))
    assert timetable.rows[-1].to_s == timetable.total_s


def test_someone_stays_until_the_first_warm_point_is_reached() -> None:
    rows = forecast(load_plan(EXAMPLES / "overnight.toml")).rows
    assert [row.temperature_c for row in rows if row.attended] == [0.0, 40.0]


def test_the_margin_is_to_the_tightest_limit() -> None:
    run = load_plan(EXAMPLES / "overnight.toml")
    timetable = forecast(run)
    assert timetable.tightest == "the bath"
    assert min(row.margin_k for row in timetable.rows) == 10.0


def test_a_block_cools_slower_near_the_room_than_its_ramp() -> None:
    run = load_plan(EXAMPLES / "block-night.toml")
    assert approach_time_s(run, 400.0, 390.0, 4.0) == pytest.approx(150.0)
    assert approach_time_s(run, 60.0, 50.0, 4.0) > 1.5 * 150.0
    assert approach_time_s(run, 50.0, 60.0, 4.0) == pytest.approx(150.0)


def test_a_whole_cooling_takes_as_long_as_its_parts() -> None:
    run = load_plan(EXAMPLES / "block-night.toml")
    parts = approach_time_s(run, 400.0, 150.0, 4.0) + approach_time_s(run, 150.0, 50.0, 4.0)
    assert approach_time_s(run, 400.0, 50.0, 4.0) == pytest.approx(parts)


def test_a_sequence_reads_every_channel_there_and_back_in_every_cycle() -> None:
    run = load_plan(EXAMPLES / "overnight.toml")
    step = measuring_steps(run)[0]
    assert sequence_time_s(run, step) == pytest.approx(3 * 2 * 7 * (1.0 + 5 * 1.0))


def test_hours_above_the_head_limit_are_counted() -> None:
    assert forecast(load_plan(EXAMPLES / "short.toml")).above_head_limit_s == 0.0
    assert forecast(load_plan(EXAMPLES / "overnight.toml")).above_head_limit_s > 5 * 3600.0


def test_a_longer_soak_moves_the_end_by_as_much_at_every_point() -> None:
    run = load_plan(EXAMPLES / "overnight.toml")
    now_minutes = run.zero_settings.soak_s / 60.0
    longer = run.texts.plan.replace(
        f"minimum_soak_minutes = {now_minutes:g}", f"minimum_soak_minutes = {now_minutes + 10:g}"
    )
    later = forecast(parse_plan(longer, run.texts.bench, run.texts.register)).total_s
    assert later - forecast(run).total_s == pytest.approx(9 * 600.0)


def test_the_lines_say_time_temperature_and_margin() -> None:
    lines = forecast(load_plan(EXAMPLES / "short.toml")).lines()
    assert lines[0].startswith(" 0:00 to") and "0.00 °C" in lines[0]
    assert lines[-1].startswith("in all")


def test_check_prints_the_margin_to_every_rating_and_until_when_to_stay(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["check", str(EXAMPLES / "overnight.toml")]) == 0
    said = capsys.readouterr().out
    run = load_plan(EXAMPLES / "overnight.toml")
    for rating in run.rating.highest_of:
        margin_k = rating.value - max(run.visited_c)
        assert f"{rating.owner}: {margin_k:.0f} K to its highest ({rating.value:g} °C)" in said
    stay = next(row for row in forecast(run).rows if row.temperature_c > run.bench.ambient_c)
    assert f"reached {hours(stay.from_s + stay.approach_s)} after the start: stay until then" in said


def test_a_plot_that_cannot_be_written_is_refused_in_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    nowhere = tmp_path / "nowhere" / "plot"
    assert main(["check", str(EXAMPLES / "short.toml"), "--plot", str(nowhere)]) == 2
    assert f"REFUSED: --plot {nowhere}: no such file or directory" in capsys.readouterr().err


def test_whoever_is_asked_for_something_stays_until_it_is_done() -> None:
    table = forecast(load_plan(EXAMPLES / "sprt-pair.toml"))
    (asked,) = [row for row in table.rows if row.asked]
    assert asked.label == "top" and presence_at(asked) == "stay until it is done"
    assert table.attended_until_s == asked.to_s
    assert [presence_at(row) for row in table.rows[asked.index + 1 :]] == [""] * 4
