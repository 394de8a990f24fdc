"""The simulators' own temperature scale against the published figures."""

from __future__ import annotations

import math

import pytest

from simulators.draw import certified_its90
from simulators.physics.its90 import reference_above, reference_below
from simulators.physics.platinum import CallendarVanDusen, Insulation, Shifted

# ITS-90 text, Metrologia 27 (1990) 3-10, Table 1: t90 in °C and Wr to eight decimals.
FIXED_POINTS_BELOW = [
    (-259.3467, 0.00119007),
    (-248.5939, 0.00844974),
    (-218.7916, 0.09171804),
    (-189.3442, 0.21585975),
    (-38.8344, 0.84414211),
]
FIXED_POINTS_ABOVE = [
    (0.01, 1.00000000),
    (29.7646, 1.11813889),
    (156.5985, 1.60980185),
    (231.928, 1.89279768),
    (419.527, 2.56891730),
    (660.323, 3.37600860),
    (961.78, 4.28642053),
]


@pytest.mark.parametrize(("t_c", "published"), FIXED_POINTS_BELOW)
def test_the_reference_function_below_zero_is_the_published_one(t_c: float, published: float) -> None:
    assert round(reference_below(t_c), 8) == published


@pytest.mark.parametrize(("t_c", "published"), FIXED_POINTS_ABOVE)
def test_the_reference_function_above_zero_is_the_published_one(t_c: float, published: float) -> None:
    assert round(reference_above(t_c), 8) == published


# Published table values of IEC 60751 for a 100 Ω thermometer.
@pytest.mark.parametrize(
    ("t_c", "ohm"), [(-200.0, 18.52), (-100.0, 60.26), (0.0, 100.0), (100.0, 138.51), (850.0, 390.48)]
)
def test_the_nominal_industrial_thermometer_has_the_published_resistance(t_c: float, ohm: float) -> None:
    assert round(CallendarVanDusen().resistance_ohm(t_c), 2) == ohm


def test_a_thermometer_satisfies_its_own_deviation_function() -> None:
    a, b, c = -2.4176e-4, -1.732e-5, 4.11e-6
    thermometer = certified_its90(25.52341, {"3.3.2.1": {"a": a, "b": b, "c": c}})
    for t_c in (0.0, 10.0, 231.928, 600.0, 660.323):
        w = thermometer.resistance_ohm(t_c) / 25.52341
        departs = a * (w - 1) + b * (w - 1) ** 2 + c * (w - 1) ** 3
        assert w - departs == pytest.approx(reference_above(t_c), abs=1e-12)


@pytest.mark.parametrize(
    ("name", "extra"),
    [
        ("3.3.1.3", {}),
        ("3.3.1.2", {"c1": 2e-6}),
        ("3.3.1.1", {"c1": 1e-6, "c2": 3e-7, "c3": 1e-8}),
        ("3.3.1", {"c1": 1e-6, "c2": 3e-7, "c3": 1e-8, "c4": 1e-9, "c5": 1e-10}),
    ],
)
def test_a_cold_thermometer_satisfies_its_own_deviation_function(name: str, extra: dict[str, float]) -> None:
    a, b = -1.5e-4, 1.2e-5
    thermometer = certified_its90(100.0, {name: {"a": a, "b": b, **extra}})
    for t_c in (-189.3442, -100.0, -38.8344, -1.0):
        w = thermometer.resistance_ohm(t_c) / 100.0
        if name == "3.3.1.3":
            departs = a * (w - 1) + b * (w - 1) * math.log(w)
        else:
            first = {"3.3.1.2": 2, "3.3.1.1": 1, "3.3.1": 3}[name]
            series = sum(v * math.log(w) ** (first + i) for i, v in enumerate(extra.values()))
            departs = a * (w - 1) + b * (w - 1) ** 2 + series
        assert w - departs == pytest.approx(reference_below(t_c), abs=1e-12)


def test_the_silver_term_acts_only_above_the_aluminium_point() -> None:
    cubic = {"a": -1.2146e-4, "b": -9.43e-6, "c": 1.72e-6}
    w_al = certified_its90(1.0, {"3.3.2.1": cubic}).resistance_ohm(660.323)
    plain = certified_its90(1.0, {"3.3.2.1": cubic})
    silver = certified_its90(1.0, {"3.3.2": {**cubic, "d": -5.38e-6, "w_al": w_al}})
    assert silver.resistance_ohm(600.0) == plain.resistance_ohm(600.0)
    departs = silver.resistance_ohm(961.78) - plain.resistance_ohm(961.78)
    assert departs == pytest.approx(-5.38e-6 * (4.28598 - w_al) ** 2, rel=1e-3)


def test_the_middle_subrange_changes_reference_at_the_triple_point_and_the_others_at_zero() -> None:
    middle = certified_its90(1.0, {"3.3.3": {"a": 0.0, "b": 0.0}})
    warm = certified_its90(1.0, {"3.3.2.4": {"a": 0.0}})
    assert middle.resistance_ohm(0.005) == reference_below(0.005)
    assert warm.resistance_ohm(0.005) == reference_above(0.005)


def test_a_wrong_certificate_moves_the_thermometer_by_what_it_says() -> None:
    certified = CallendarVanDusen()
    real = Shifted(certified, constant_k=0.002, slope=1e-5)
    assert real.resistance_ohm(100.0) == certified.resistance_ohm(100.003)


def test_insulation_lowers_the_resistance_by_its_square_over_the_leak() -> None:
    leak = Insulation(at_22_c_mohm=100.0, fold_k=1e9)
    assert 100.0 - leak.beside(100.0, 0.0) == pytest.approx(100.0**2 / 100e6, rel=1e-4)
    assert Insulation().beside(200.0, 400.0) < Insulation().beside(200.0, 100.0)
