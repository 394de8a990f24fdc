"""What the pictures promise: no spike is lost, edges are round, and what is unknown is treated as hot."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.journal import store
from daemon.journal.entry import FIRST_LINK, Kind, encode
from daemon.results.traces import Trace
from daemon.web.chart import HIGH, WIDE, Scale, Window, curve, nice_above, steps, tick_s
from daemon.web.events import events, verdicts
from daemon.web.lanes import lanes
from daemon.web.live_record import SOURCE, LiveRecord
from daemon.web.margins import Body, margins, touch
from daemon.web.night import chosen
from daemon.web.progress import estimated_end_s
from daemon.web.schedule import schedule
from plans.loading import load_plan
from tests.nights.served_lab import EXAMPLES

POINT = re.compile(r"(-?\d+\.\d) (-?\d+\.\d)")
TEXTS = load_plan(EXAMPLES / "overnight.toml").texts
OPENING = {"simulated": True, "plan": TEXTS.plan, "bench": TEXTS.bench, "register": TEXTS.register}


def points(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in POINT.findall(path)]


def record(path: Path, *said: tuple[Kind, float, dict[str, object]]) -> LiveRecord:
    """A record with an opening and whatever was said, read as a page reads it."""
    entries = [(Kind.OPENED, 0.0, OPENING), *said]
    rows = [
        (number, str(kind), when_s, 1.8e9 + when_s, encode(body), FIRST_LINK)
        for number, (kind, when_s, body) in enumerate(entries, 1)
    ]
    connection = store.create(path, synced=False)
    store.append(connection, rows)
    store.close(connection)
    live = LiveRecord(path)
    while live.catch_up():
        pass
    return live


def look(when_s: float, celsius: float | None) -> tuple[Kind, float, dict[str, object]]:
    return Kind.OBSERVATION, when_s, {"what": "source", "temperature_c": celsius, "set_point_c": 40.0}


def mark(when_s: float, name: str, **data: object) -> tuple[Kind, float, dict[str, object]]:
    return Kind.MILESTONE, when_s, {"mark": name, "by": "running", **data}


@settings(deadline=None)
@given(st.integers(0, 49_999), st.integers(20, 700), st.sampled_from([-1.0, 1.0]))
def test_a_single_spike_among_fifty_thousand_readings_is_drawn_to_its_tip(
    where: int, columns: int, sign: float
) -> None:
    values = np.zeros(50_000)
    values[where] = sign
    trace = Trace(np.arange(50_000.0), values)
    drawn = points(curve(trace, Window(0.0, 50_000.0, columns), Scale(-1.0, 1.0)))
    tip = 0.0 if sign > 0.0 else HIGH
    assert len(drawn) <= 2 * columns + 2
    assert any(y == tip and abs(x - where / 50_000.0 * WIDE) <= 0.06 for x, y in drawn)


@given(st.floats(1e-6, 1e6))
def test_a_scale_ends_on_a_round_number_not_far_above(value: float) -> None:
    above = nice_above(value)
    assert value * 0.999 <= above <= 2.51 * value
    assert re.fullmatch(r"[125]e[+-]\d\d", f"{above:.0e}")


@given(st.floats(60.0, 1e6))
def test_time_marks_are_few_and_round(length_s: float) -> None:
    step_s = tick_s(length_s)
    assert length_s / step_s <= 12.0 and (86400.0 % step_s == 0.0)


def test_a_set_point_is_drawn_as_steps_and_an_empty_window_as_nothing() -> None:
    trace = Trace(np.array([0.0, 10.0, 20.0, 30.0]), np.array([0.0, 0.0, 40.0, 40.0]))
    window = Window(0.0, 40.0, 100)
    assert steps(trace, window, Scale(0.0, 40.0)) == "M0.0 100.0H500.0V0.0H750.0"
    empty = Window(100.0, 200.0, 100)
    assert steps(trace, empty, Scale(0.0, 40.0)) == curve(trace, empty, Scale(0.0, 40.0)) == ""


MINUTES = st.none() | st.floats() | st.floats(0.0, 900.0)


@given(MINUTES, MINUTES)
def test_whatever_part_of_the_night_is_asked_for_a_sound_one_is_shown(
    start: float | None, end: float | None
) -> None:
    window = chosen(LiveRecord(Path("none")), start, end)
    assert 0.0 <= window.start_s < window.end_s <= 500.0 * 3600.0
    step_s = tick_s(window.length_s)
    assert window.start_s % step_s == window.end_s % step_s == 0.0


@pytest.mark.parametrize(
    ("celsius", "age_s", "words"),
    [
        (None, 0.0, "unknown: treat it as hot"),
        (20.0, 121.0, "unknown: treat it as hot"),
        (20.0, float("nan"), "unknown: treat it as hot"),
        (float("nan"), 0.0, "hot: hands off"),
        (43.1, 0.0, "hot: hands off"),
        (43.0, 0.0, "may be touched"),
        (-5.0, 0.0, "cold: gloves"),
    ],
)
def test_what_is_not_known_to_be_cool_is_hot(celsius: float | None, age_s: float, words: str) -> None:
    assert Body("the bath", celsius, age_s, 210.0).touch == words


def test_after_a_halt_the_page_says_what_must_not_be_moved_and_always_what_is_not_protected(
    tmp_path: Path,
) -> None:
    safe = {
        "mark": "what_is_safe",
        "temperature_c": 500.0,
        "sentence": "above 450 °C: do not move the probes",
    }
    stuck = {"mark": "not_protected", "temperature_c": 510.0, "sentence": "open the main switch now"}
    halted = [(Kind.MILESTONE, 2.0 + at, body | {"by": "parking"}) for at, body in enumerate((safe, stuck))]
    html = touch(record(tmp_path / "halted.record", look(1.0, 100.0), *halted))
    assert "do not move the probes" in html and "open the main switch now" in html
    assert "Not protected: a heater whose relay is stuck; the contactor cannot be opened from here" in html
    again = (Kind.STATE, 5.0, {"from": "holding", "to": "running", "cause": "released"})
    html = touch(record(tmp_path / "on.record", look(1.0, 100.0), *halted, again))
    assert "do not move" not in html and "Not protected" in html


def test_a_source_beyond_its_limit_fills_its_bar_and_says_so(tmp_path: Path) -> None:
    live = record(tmp_path / "night.record", look(1.0, 215.0))
    html = margins(live)
    assert 'class="fill over"' in html and "−5" in html
    assert "no fresh reading" in html and "hot: hands off" in touch(live)


def test_the_end_moves_with_the_delay_and_a_closed_run_has_none(tmp_path: Path) -> None:
    start = mark(1000.0, "point_started", index=0, label="zero before", temperature_c=0.0)
    live = record(tmp_path / "late.record", start, look(1000.0, 20.0))
    assert live.timetable is not None
    assert estimated_end_s(live) == pytest.approx(live.timetable.total_s + 1000.0, abs=0.1)
    assert "17 min later than forecast" in schedule(live).replace("\u00a0", " ")
    closed = record(tmp_path / "closed.record", start, (Kind.CLOSED, 2000.0, {"outcome": "parked"}))
    assert estimated_end_s(closed) is None


def test_standing_verdicts_are_shown_until_they_clear(tmp_path: Path) -> None:
    body = {"guard": "silence", "channel": 3, "reaction": "hold", "sentence": "nothing from <channel 3>"}
    spoken = (Kind.VERDICT, 1.0, body)
    standing = record(tmp_path / "standing.record", spoken)
    assert "nothing from &lt;channel 3&gt;" in verdicts(standing)
    gone = (Kind.CLEARED, 2.0, {"guard": "silence", "channel": 3})
    cleared = record(tmp_path / "cleared.record", spoken, gone)
    assert "No guard objects" in verdicts(cleared) and "cleared: silence" in events(cleared)


def test_what_stands_beside_the_source_has_a_lane_each_and_an_absent_value_is_none(tmp_path: Path) -> None:
    room = {"temperature": {"unit": "degC", "value": 21.93}, "humidity": {"unit": "percent", "value": None}}
    ambient = {"what": "monitored", "role": "ambient", "readings": room, "states": {}}
    bath = {"what": "monitored", "role": "interlocks", "readings": {}, "states": {"level_low": False}}
    looks = [(Kind.OBSERVATION, float(at), body) for at in range(100) for body in (ambient, bath)]
    live = record(tmp_path / "beside.record", *looks)
    shown = lanes(live, live.traces(), Window(0.0, 100.0, 60)).replace("\u00a0", " ")
    assert "<b>21.93 °C</b>" in shown and "<b>level low</b>" in shown and "<b>off</b>" in shown
    assert "humidity" not in shown
    later = lanes(live, live.traces(), Window(200.0, 300.0, 60))
    assert later.count("<b>no reading</b>") == 2
    nothing = record(tmp_path / "alone.record", look(1.0, 20.0))
    assert "Beside" not in lanes(nothing, nothing.traces(), Window(0.0, 100.0, 60))


def test_a_record_that_grows_is_read_on_from_where_the_last_look_ended(tmp_path: Path) -> None:
    path = tmp_path / "night.record"
    live = record(path, look(1.0, 20.0))
    connection = store.reopen(path, synced=False)
    row = (3, str(Kind.OBSERVATION), 2.0, 1.8e9 + 2.0, encode(look(2.0, 21.0)[2]), FIRST_LINK)
    store.append(connection, [row])
    assert live.catch_up() == 1 and live.catch_up() == 0
    assert live.columns[SOURCE].value.tolist() == [20.0, 21.0]
    store.close(connection)


def test_a_record_being_read_at_that_moment_can_still_be_closed(tmp_path: Path) -> None:
    path = tmp_path / "night.record"
    record(path, look(1.0, 20.0))
    writer, reader = store.reopen(path, synced=False), store.reopen(path, synced=False)
    assert reader.execute("SELECT count(*) FROM entry").fetchone() == (2,)
    store.close(writer)
    store.close(reader)
    assert [one.name for one in tmp_path.iterdir()] == ["night.record"]
