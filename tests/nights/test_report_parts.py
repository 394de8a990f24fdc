"""The report's small parts: numbers, markup, spikes in a picture, phases."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.journal.entry import Entry, Kind
from daemon.results.files import table_step_k
from daemon.results.markup import Html, element, table
from daemon.results.numbers import contribution, duration, fixed, point_name, powers, signed, uncertainty
from daemon.results.story import Story
from daemon.results.traces import Trace, bundle, extremes

BEGUN_S = datetime(2026, 1, 15, 17, 0, tzinfo=UTC).timestamp()
OPENING = Entry(1, Kind.OPENED, 0.0, BEGUN_S, {"simulated": True})


def told(*entries: tuple[str, float, float, dict[str, object]]) -> Story:
    """A story of (kind, monotonic s, s since the start by UTC, body)."""
    story = Story(OPENING)
    for number, (kind, when_s, since_s, body) in enumerate(entries, start=2):
        story.take(Entry(number, kind, when_s, BEGUN_S + since_s, body))
    story.phases.end(story.end_s)
    return story


def mark(name: str, **data: object) -> dict[str, object]:
    return {"mark": name, "by": "running", **data}


def look(temperature_c: float) -> dict[str, object]:
    return {
        "of": 0,
        "what": "source",
        "temperature_c": temperature_c,
        "set_point_c": 20.0,
        "output_percent": 0.0,
    }


def test_numbers_have_a_true_minus_and_no_negative_zero() -> None:
    assert fixed(-0.251, 2, "mK") == "−0.25 mK"
    assert fixed(-0.001, 2) == "0.00"
    assert signed(-0.001, 2) == signed(0.001, 2) == "0.00"
    assert signed(3.0, 1) == "+3.0"


@pytest.mark.parametrize("unknown", [None, float("nan"), float("inf"), float("-inf")])
def test_what_is_not_known_is_a_dash(unknown: float | None) -> None:
    assert fixed(unknown, 2, "mK") == signed(unknown, 2, "mK") == uncertainty(unknown) == "–"


def test_an_uncertainty_has_two_digits() -> None:
    assert [uncertainty(value) for value in (7.849, 0.0214, 123.4)] == ["7.8 mK", "0.021 mK", "120 mK"]


def test_a_term_of_a_budget_has_one_digit_more_than_the_sum() -> None:
    assert contribution(1.1547, 3.4) == "1.15"
    assert contribution(0.0042, 3.4, "mK") == "< 0.01 mK"
    assert contribution(12.34, 34.0) == "12.3"
    assert contribution(0.0, 3.4) == "0.00"


def test_exponents_are_written_as_people_write_them() -> None:
    assert powers("-5.7750e-07") == "−5.7750·10⁻⁷"
    assert powers("99.99924") == "99.99924"


def test_durations_are_said_as_people_say_them() -> None:
    assert [duration(s) for s in (45, 720, 49920)] == ["45 s", "12 min", "13 h 52 min"]


def test_a_point_is_called_by_its_number_temperature_and_given_label() -> None:
    assert point_name(3, -38.8344, "point 4") == "4: −38.8344 °C"
    assert point_name(0, 0.0, "zero before") == "1: 0 °C, zero before"


@given(st.text(max_size=40))
def test_no_text_becomes_markup(words: str) -> None:
    inside = element("p", words, id=words)
    assert re.fullmatch(r'<p id="[^"<>]*">[^<>]*</p>', inside, re.DOTALL)


def test_markup_inside_markup_is_kept() -> None:
    assert element("p", element("b", "a < b")) == Html("<p><b>a &lt; b</b></p>")
    assert table(["x"], [["−1"]], words=0).count('class="n"') == 2


def test_a_number_keeps_its_unit_and_a_serial_its_hyphens() -> None:
    shown = element("p", "TR-IPRT-11 on 2026-01-15 fell to -5.2 mK in 3 min")
    assert shown == "<p>TR-IPRT-11 on 2026-01-15 fell to −5.2\u00a0mK in 3\u00a0min</p>"


@given(st.integers(0, 4999), st.integers(5, 300))
def test_no_spike_is_lost_in_a_picture(where: int, columns: int) -> None:
    when = np.arange(5000.0)
    values = np.sin(when / 300.0)
    values[where] = 50.0
    drawn = extremes(Trace(when, values), 0.0, 5000.0, columns)
    assert drawn.value.max() == 50.0
    assert drawn.value.min() == values.min()
    assert len(drawn.value) <= 2 * columns + 2
    assert (np.diff(drawn.when_s) > 0).all()


def test_a_bundle_shows_the_lowest_and_the_highest_of_all() -> None:
    when = np.arange(100.0)
    calm, wild = Trace(when, np.zeros(100)), Trace(when, np.where(when == 42, 9.0, 1.0))
    middle, lowest, highest = bundle([calm, wild], 0.0, 100.0, 10)
    assert lowest.max() == 0.0
    assert (middle[4], highest[4]) == (45.0, 9.0)


def test_a_bundle_has_nothing_to_show_where_nothing_was_read() -> None:
    middle, _, _ = bundle([Trace(np.array([1.0, 99.0]), np.array([0.0, 0.0]))], 0.0, 100.0, 10)
    assert list(middle) == [5.0, 95.0]


@given(st.floats(0.5, 1500.0))
def test_a_table_is_short_at_a_round_step(span_k: float) -> None:
    step_k = table_step_k(span_k)
    assert span_k / step_k <= 196.0 + 1e-6
    assert span_k / step_k > 70.0
    assert f"{step_k:.0e}"[0] in "125"


def test_a_point_goes_through_its_phases() -> None:
    story = told(
        (Kind.STATE, 0, 0, {"from": "idle", "to": "running", "cause": "started"}),
        (Kind.MILESTONE, 1, 1, mark("point_started", index=0, label="zero before", temperature_c=0.0)),
        (Kind.MILESTONE, 10, 10, mark("arrived", index=0)),
        (Kind.MILESTONE, 20, 20, mark("settled", index=0)),
        (Kind.MILESTONE, 25, 25, mark("unsettled", index=0)),
        (Kind.MILESTONE, 30, 30, mark("settled", index=0)),
        (Kind.MILESTONE, 50, 50, mark("soaked", index=0)),
        (Kind.MILESTONE, 50, 50, mark("sequence_started", index=0)),
        (Kind.MILESTONE, 60, 60, mark("point_finished", index=0)),
        (Kind.STATE, 70, 70, {"from": "running", "to": "finished", "cause": "the plan is done"}),
    )
    spans = [(span.name, span.start_s, span.end_s) for span in story.phases.done]
    assert spans == [
        ("approach", 1, 10),
        ("settling", 10, 20),
        ("soak", 20, 25),
        ("settling", 25, 30),
        ("soak", 30, 50),
        ("readings", 50, 60),
    ]
    assert (story.phases.points[0].settled_s, story.phases.points[0].ended) == (30, "finished")
    assert [span.name for span in story.phases.states] == ["idle", "running", "finished"]


def test_a_halt_ends_the_phase_it_falls_into() -> None:
    story = told(
        (Kind.MILESTONE, 1, 1, mark("point_started", index=0, label="p", temperature_c=40.0)),
        (Kind.STATE, 9, 9, {"from": "running", "to": "cut", "cause": "over_limit"}),
        (Kind.MILESTONE, 99, 99, {"mark": "cut_and_cool", "by": "cut", "temperature_c": 30.0}),
    )
    assert [(span.name, span.end_s) for span in story.phases.done] == [("approach", 9)]
    assert story.phases.state == "cut"


def test_time_nobody_watched_is_told_as_a_gap() -> None:
    story = told(*((Kind.OBSERVATION, t, t, look(20.0)) for t in (1.0, 2.0, 95.0, 96.0)))
    assert [(gap.start_s, gap.end_s) for gap in story.gaps] == [(2.0, 95.0)]


def test_the_story_goes_on_through_a_restart_of_the_machine() -> None:
    story = told(
        (Kind.OBSERVATION, 7200.0, 7200.0, look(60.0)),
        (Kind.OBSERVATION, 3.0, 7300.0, look(58.0)),
    )
    assert list(story.traces.controller_c.when_s) == [7200.0, 7300.0]
    assert story.end_s == 7300.0
