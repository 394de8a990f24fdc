"""What a held, parked or cut run does and says, on simulated nights with one fault or one word."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from itertools import pairwise
from typing import Any

import pytest

from daemon.journal import store
from daemon.journal.entry import Entry, Kind
from daemon.states import State
from tests.campaigns.fault_oracle import Case, night_with
from tests.campaigns.short_nights import short_night


class Heard:
    """Everything that was written down, by kind."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []

    def __call__(self, entry: Entry) -> None:
        """Take one entry."""
        self.entries.append(entry)

    def marks(self, mark: str) -> list[tuple[float, Mapping[str, Any]]]:
        """Milestones of one name with their times."""
        found = (e for e in self.entries if e.kind == Kind.MILESTONE and e.body["mark"] == mark)
        return [(entry.when_s, entry.body) for entry in found]

    def states(self) -> list[str]:
        """The states in their order."""
        return [str(entry.body["to"]) for entry in self.entries if entry.kind == Kind.STATE]

    def actions(self, do: str, state: State) -> list[Mapping[str, Any]]:
        """What was commanded in a state."""
        found = (e.body for e in self.entries if e.kind == Kind.ACTION)
        return [body for body in found if body["do"] == do and body["by"] == state]

    def verdicts(self) -> list[str]:
        """Names of the guards that spoke, in their order."""
        return [str(entry.body["guard"]) for entry in self.entries if entry.kind == Kind.VERDICT]


def bath(
    fault: str = "", *, stop_s: float = 3 * 3600.0, after_h: float = 2.5, **more: Any
) -> tuple[Case, Heard]:
    """A shortened night in the bath and what was written down."""
    heard = Heard()
    case = night_with(
        short_night("bath"), "bath", fault, stop_s=stop_s, hours_after=after_h, heard=heard, **more
    )
    return case, heard


def test_the_alarm_repeats_every_ten_minutes_until_somebody_acknowledges() -> None:
    words = [(1200.0, "halt"), (1200.0 + 3 * 600.0 + 60.0, "acknowledge")]
    _, heard = bath(words=words, stop_s=5400.0)
    assert [round(when_s - 1200.0, -1) for when_s, _ in heard.marks("alarm")] == [600.0, 1200.0, 1800.0]
    assert all("halt" in body["cause"] for _, body in heard.marks("alarm"))


def test_a_park_starts_from_what_is_measured_and_never_goes_up() -> None:
    _, heard = bath(words=[(900.0, "halt")], stop_s=3600.0)
    written = [body["temperature_c"] for body in heard.actions("write_set_point", State.PARKING)]
    assert heard.marks("parking")[0][1]["from_c"] == pytest.approx(written[0], abs=0.1)
    assert written == sorted(written, reverse=True)


def test_no_halt_starts_a_fan_or_a_heater() -> None:
    for word in ("halt", "cut"):
        _, heard = bath(words=[(900.0, word)], stop_s=3600.0)
        for state in (State.PARKING, State.CUT):
            assert not any(body["on"] for body in heard.actions("switch_cooling", state))
            assert not any(body["on"] for body in heard.actions("switch_heater", state))


def test_a_cut_leaves_fan_and_chiller_as_they_are() -> None:
    _, heard = bath(words=[(900.0, "cut")], stop_s=1800.0)
    assert heard.actions("switch_cooling", State.CUT) == []
    assert heard.actions("switch_heater", State.CUT)


def test_recording_goes_on_after_a_cut_until_the_source_is_cool_and_stays_so() -> None:
    case, heard = bath(words=[(2400.0, "cut")], stop_s=24 * 3600.0)
    assert case.state == State.PARKED
    (cool_s, body), *_ = heard.marks("cut_and_cool")
    readings = [e.when_s for e in heard.entries if e.kind == Kind.OBSERVATION]
    assert body["temperature_c"] <= 42.0
    assert max(b - a for a, b in pairwise(readings)) < 15.0
    assert readings[-1] == pytest.approx(cool_s, abs=15.0)


def test_what_may_be_touched_is_said_at_the_halt_and_when_it_changes() -> None:
    _, heard = bath(words=[(1050.0, "halt")], stop_s=2 * 3600.0)
    said = [body["sentence"] for _, body in heard.marks("what_is_safe")]
    assert said[0].startswith("above 43 °C") and said[-1].startswith("below 43 °C")


def test_a_cold_source_is_left_shut_while_it_warms() -> None:
    heard = Heard()
    case = night_with(short_night("cold"), "cold", "cooling-stop@0:40", hours_after=0.5, heard=heard)
    assert case.reaction == "cut" and case.violations == []
    (_, body), *_ = heard.marks("what_is_safe")
    assert body["sentence"].startswith("below 5 °C: leave the lid shut")


def test_a_standard_thermometer_cut_above_450_degrees_is_flagged_for_annealing() -> None:
    heard = Heard()
    words = [(2.4 * 3600.0, "cut")]
    run = short_night("furnace")
    night_with(run, "furnace", words=words, stop_s=2.45 * 3600.0, heard=heard)
    (_, body), *_ = heard.marks("anneal_before_use")
    assert body["thermometers"] == ["TR-REF-02"] and "triple point" in body["sentence"]
    assert "do not move the probes" in heard.marks("what_is_safe")[0][1]["sentence"]


def test_a_stuck_relay_is_cut_and_called_not_protected() -> None:
    case, heard = bath("stuck-relay@0:30", after_h=1.0)
    assert case.state == State.CUT
    assert "main switch" in heard.marks("not_protected")[0][1]["sentence"]


def test_a_relay_that_sticks_while_the_source_is_cold_is_not_left_alone() -> None:
    """Cool is not safe: the source was below its parking temperature and rising at full power."""
    case, heard = bath("stuck-relay@0:02", after_h=0.4)
    assert State.PARKED not in heard.states()
    assert case.state == State.CUT


def test_a_bath_that_lost_its_power_is_held_and_parked_when_it_answers_again() -> None:
    _, heard = bath("brown-out@0:50/120", after_h=0.3)
    assert heard.states()[:3] == [State.RUNNING, State.HOLDING, State.PARKING]
    assert "source_came_back" in heard.verdicts()


def test_a_controller_that_stays_silent_is_cut_by_whatever_way_is_left() -> None:
    case, heard = bath("silence@0:50=source", after_h=0.5)
    assert heard.states() == [State.RUNNING, State.HOLDING, State.CUT]
    assert case.state == State.CUT and heard.marks("alarm")


def test_a_short_silence_ends_by_itself_and_the_point_is_done_again() -> None:
    case, heard = bath("silence@0:20=bridge/25", after_h=0.4)
    assert State.HOLDING in heard.states() and case.state == State.RUNNING
    assert heard.marks("starting_over")


def test_a_command_that_is_confirmed_and_not_obeyed_is_never_parked_over_the_same_way() -> None:
    _, heard = bath("lost-write@0:20", after_h=1.5)
    assert heard.states() == [State.RUNNING, State.CUT]
    assert "command_path" in heard.verdicts()


def test_one_open_item_does_not_cost_the_others_their_night() -> None:
    case, heard = bath("open-lead@0:40=3", after_h=1.75)
    assert case.state == State.RUNNING and len(heard.marks("point_finished")) == 3
    assert [body["channel"] for _, body in heard.marks("item_left_out")] == [3]


def test_a_probe_that_is_pulled_parks_without_a_sudden_move() -> None:
    _, heard = bath("probe-pulled@1:00=2", after_h=0.2)
    assert heard.states() == [State.RUNNING, State.PARKING]
    assert heard.verdicts()[-1] == "probe_pulled" or "probe_pulled" in heard.verdicts()


def test_a_record_that_cannot_be_written_ends_in_a_park_and_loses_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    heard = Heard()
    write, full = store.append, [False]

    def append(connection: sqlite3.Connection, rows: Any) -> None:
        if full[0]:
            raise sqlite3.OperationalError("database or disk is full")
        write(connection, rows)

    def fills_up(entry: Entry) -> None:
        heard(entry)
        full[0] = 1500.0 < entry.when_s < 2400.0

    monkeypatch.setattr(store, "append", append)
    case = night_with(short_night("bath"), "bath", stop_s=3600.0, heard=fills_up)
    assert case.state == State.PARKING
    assert "record_not_written" in heard.verdicts()
    assert not full[0]


@pytest.mark.parametrize("plant", ["bath", "furnace"])
def test_a_source_that_was_off_for_a_moment_and_looks_as_before_is_held(plant: str) -> None:
    heard = Heard()
    case = night_with(short_night(plant), plant, "reset@0:40=source", hours_after=0.2, heard=heard)
    assert "restarted" in heard.verdicts() and State.HOLDING in heard.states()
    assert case.violations == [] and case.first_s is not None and case.first_s <= 65.0


def test_a_park_follows_the_reference_down_where_the_controller_reads_low() -> None:
    """Held by the controller above the end of the slow zone, it must not be let fall freely from there."""
    case = night_with(short_night("furnace"), "furnace", "display-drift@2:09:31=-0.24", hours_after=2.0)
    assert case.violations == [] and case.reaction == "park"
    assert case.cooling_share < 1.0


def test_the_first_cause_is_kept_whatever_follows() -> None:
    _, heard = bath("over-temperature@0:30", after_h=0.3)
    causes = {body["cause"].split(":")[0] for _, body in heard.marks("alarm")}
    assert causes == {"over_temperature"}
