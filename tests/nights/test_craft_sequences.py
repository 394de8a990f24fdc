"""A reading sequence: what the source did to all cancels, what stands out is flagged, nothing is dropped."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from daemon.channels import ChannelFacts
from daemon.results.gather import MeasuredPoint
from daemon.results.pairs import SequenceReading
from daemon.results.reduce import Reduced, pooled_readings, reduce_point, scatter_of
from daemon.results.returns import repeats_of
from plans.loading import load_plan, parse_plan
from tests.nights.rehearsed import EXAMPLES

REFERENCE, FIRST_ITEM = 1, 2
OHM_PER_K = 0.4


def facts(channel: int) -> ChannelFacts:
    return ChannelFacts(channel, f"TR-{channel}", "item", 100.0, celsius, 0.5, -50.0, 450.0)


def celsius(ohm: float) -> float:
    return (ohm - 100.0) / OHM_PER_K


def measured(drift_k_per_h: float, channels: int, noise_mk: float = 0.0, alike: float = 0.0) -> MeasuredPoint:
    """S U1 … Un Un … U1 S three times in a source that drifts; every item 0.5 K above the reference."""
    point, chance, when_s = MeasuredPoint(0, "point", "", 40.0, 0.0), Random(5), 0.0
    order = [*range(1, channels + 1), *range(channels, 0, -1)]
    errors = dict.fromkeys(order, 0.0)
    for cycle in (1, 2, 3):
        for visit, channel in enumerate(order, start=1):
            for _ in range(4):
                fresh = (noise_mk if channel > 1 else 0.0) * (1.0 - alike**2) ** 0.5 * chance.gauss(0.0, 1.0)
                errors[channel] = alike * errors[channel] + fresh
                t_c = 40.0 + drift_k_per_h * when_s / 3600.0 + (0.5 if channel > 1 else 0.0)
                ohm = 100.0 + OHM_PER_K * (t_c + 1e-3 * errors[channel])
                point.readings.setdefault(channel, []).append(SequenceReading(when_s, ohm, cycle, visit))
                when_s += 1.0
            when_s += 1.0
    return point


def reduced(point: MeasuredPoint, channel: int = FIRST_ITEM) -> Reduced:
    found = reduce_point(point, facts(channel), REFERENCE, celsius)
    assert found is not None
    return found


@pytest.mark.parametrize("channel", [2, 5, 8])
def test_ten_millikelvin_an_hour_cancel_to_less_than_a_tenth(channel: int) -> None:
    found = reduced(measured(0.010, channels=8), channel)
    error_mk = 1e3 * (celsius(found.resistance_ohm) - 0.5 - found.temperature_c)
    assert abs(error_mk) < 0.1
    assert found.source_drift_mk > 0.3
    assert abs(found.quality.drift_left_mk) < 0.1


def test_readings_that_resemble_each_other_are_worth_fewer() -> None:
    alike = pooled_readings([reduced(measured(0.0, 3, noise_mk=1.0, alike=0.9))])
    white = pooled_readings([reduced(measured(0.0, 3, noise_mk=1.0))])
    assert alike is not None and white is not None
    assert alike.inflation > 2.0 * white.inflation
    assert alike.of_mean(24) > 1.5 * alike.standard_deviation / 24**0.5


def test_a_reading_that_stands_out_is_flagged_and_still_counted() -> None:
    point = measured(0.0, 3, noise_mk=0.5)
    clean = reduced(point)
    own = point.readings[FIRST_ITEM]
    own[7] = SequenceReading(
        own[7].when_s, own[7].resistance_ohm + 24e-3 * OHM_PER_K, own[7].cycle, own[7].visit
    )
    found = reduced(point)
    assert clean.quality.outliers == () and found.quality.outliers == (7,)
    assert found.readings == clean.readings == 24
    assert celsius(found.resistance_ohm) - celsius(clean.resistance_ohm) == pytest.approx(1e-3, rel=1e-6)


def test_a_point_measured_again_after_the_extremes_shows_what_repeats() -> None:
    texts = load_plan(EXAMPLES / "short.toml").texts
    points = "".join(f"[[points]]\ntemperature_c = {t_c}\n\n" for t_c in (60.0, 100.0, 40.0, 60.0))
    own = texts.plan.replace('order = "ascending"', 'order = "custom"\norder_reason = "60 °C repeated"')
    run = parse_plan(own.replace("[[points]]\ntemperature_c = 40.0\n", points), texts.bench, texts.register)
    ohm = {1: 120.0, 4: 120.0 + 0.4 * 2e-3}
    visits = [
        replace(reduced(measured(0.0, 3)), index=i, resistance_ohm=r, temperature_c=60.0)
        for i, r in ohm.items()
    ]
    (one,) = repeats_of(run, visits, scatter_of(visits))
    assert one.temperature_c == 60.0
    assert one.difference_mk == pytest.approx(2.0, rel=1e-6)
