"""Each guard speaks at its number and within its time, and keeps quiet just inside it."""

from __future__ import annotations

import math

import pytest

from daemon.dew_point import dew_point_c
from daemon.guards.catalogue import GUARDS, make_guards
from daemon.guards.guard import Guard, LoosenedThreshold
from daemon.guards.panel import GuardPanel
from daemon.guards.verdict import Reaction
from tests.guards.trip import HEALTHY, Trip
from tests.guards.trips_beside import BESIDE
from tests.guards.trips_heat import HEAT
from tests.guards.trips_instruments import INSTRUMENTS
from tests.guards.watched import World, first_word, observations, ramp, situation_of

R = Reaction
TRIPS = [*HEAT, *INSTRUMENTS, *BESIDE]
BY_NAME = {guard.name: guard for guard in GUARDS}


def alone(name: str) -> Guard:
    """A fresh guard of this name."""
    return BY_NAME[name]()


@pytest.mark.parametrize("trip", TRIPS, ids=lambda trip: trip.guard)
def test_a_guard_speaks_at_its_number_and_within_its_time(trip: Trip) -> None:
    said = first_word([alone(trip.guard)], trip.bad, trip.latest_s + 60.0)
    assert said is not None, "never spoke"
    when_s, verdict = said
    assert trip.earliest_s <= when_s <= trip.latest_s
    assert verdict.reaction is trip.reaction and verdict.guard == trip.guard


@pytest.mark.parametrize("trip", TRIPS, ids=lambda trip: trip.guard)
def test_a_guard_keeps_quiet_just_inside_its_number(trip: Trip) -> None:
    assert first_word([alone(trip.guard)], trip.good, trip.quiet_for_s) is None


LOOSER = 4.0
ELSEWHERE = {("run_too_long", "hours")}
FIGURES = [
    (guard.name, figure)
    for guard in GUARDS
    for figure in guard.thresholds
    if (guard.name, figure) not in ELSEWHERE
]


@pytest.mark.parametrize(("name", "figure"), FIGURES)
def test_a_wrong_figure_planted_in_a_guard_is_caught_by_the_numbers_above(name: str, figure: str) -> None:
    assert any(
        _caught(trip, figure, looser) for trip in TRIPS if trip.guard == name for looser in (True, False)
    )


def _caught(trip: Trip, figure: str, looser: bool) -> bool:
    """Whether one of the two tests above fails with this figure four times looser, or stricter."""
    mutant = alone(trip.guard)
    up = looser == (mutant.thresholds[figure].stricter == "lower")
    mutant.figures[figure] *= LOOSER if up else 1.0 / LOOSER
    said = first_word([mutant], trip.bad, trip.latest_s + 60.0)
    if said is None or not trip.earliest_s <= said[0] <= trip.latest_s:
        return True
    again = alone(trip.guard)
    again.figures[figure] = mutant.figures[figure]
    return first_word([again], trip.good, trip.quiet_for_s) is not None


def test_no_run_lasts_longer_than_its_hours_whatever_was_forecast() -> None:
    guard = make_guards({"run_too_long": {"hours": 0.5}})[[g.name for g in GUARDS].index("run_too_long")]
    said = first_word([guard], HEALTHY, 1900)
    assert said is not None and said[0] == 1801.0


def test_every_guard_has_a_number_here() -> None:
    assert {trip.guard for trip in TRIPS} | {"both_untrusted"} == set(BY_NAME)


def test_a_plan_may_tighten_a_figure_and_never_loosen_it() -> None:
    make_guards({"runaway": {"above_k": 3.0}})
    for guard in GUARDS:
        for key, threshold in guard.thresholds.items():
            looser = threshold.default + (1.0 if threshold.stricter == "lower" else -1.0)
            with pytest.raises(LoosenedThreshold, match=guard.name):
                make_guards({guard.name: {key: looser}})


def test_a_figure_that_is_no_number_never_loosens_a_guard() -> None:
    with pytest.raises(LoosenedThreshold):
        make_guards({"runaway": {"above_k": float("nan")}})


@pytest.mark.parametrize("room_c", [5.0, 15.0, 22.0, 35.0])
@pytest.mark.parametrize("humidity", [20.0, 50.0, 80.0, 100.0])
def test_at_its_dew_point_air_is_saturated(room_c: float, humidity: float) -> None:
    saturation = _vapour_hpa(dew_point_c(room_c, humidity)) / (_vapour_hpa(room_c) * humidity / 100.0)
    assert saturation == pytest.approx(1.0, abs=0.005)  # 0.07 K


def _vapour_hpa(temperature_c: float) -> float:
    """Saturation vapour pressure over water; Sonntag 1990, Zeitschrift für Meteorologie 70 (from memory)."""
    t = temperature_c + 273.15
    return math.exp(
        -6096.9385 / t + 16.635794 - 2.711193e-2 * t + 1.673952e-5 * t**2 + 2.433502 * math.log(t)
    )


def test_no_temperature_left_to_trust_is_a_cut() -> None:
    mute = World(silent=lambda s: "source bridge" if s > 100 else "")
    panel = GuardPanel(make_guards(), situation_of(mute))
    words = {v.guard: v.reaction for o in observations(mute, 400) for v in panel.judge(o)}
    assert words["both_untrusted"] is R.CUT
    assert panel.cause is not None and panel.cause.guard == "both_untrusted"


@pytest.mark.parametrize("device", ["source", "bridge"])
def test_a_plug_in_that_misbehaves_counts_as_silence_of_its_instrument(device: str) -> None:
    world = World(silent=lambda s: device if s > 100 else "", error="PlugInFault")
    said = first_word([alone("silence")], world, 130.0)
    assert said is not None and said[1].reaction is R.HOLD


def test_one_trusted_temperature_is_no_reason_to_cut() -> None:
    mute = World(silent=lambda s: "bridge" if s > 100 else "")
    panel = GuardPanel(make_guards(), situation_of(mute))
    words = {v.guard for o in observations(mute, 400) for v in panel.judge(o)}
    assert "both_untrusted" not in words and "reference_lost" in words


def test_a_quiet_night_leaves_every_guard_quiet() -> None:
    way = ramp(20.0, 2.0, until=150.0)
    world = World(reference=way, controller=way, set_point_c=150.0, noise_k=0.002)
    assert first_word(make_guards(), world, 4900.0) is None
