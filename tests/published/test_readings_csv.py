"""Hand-collected readings: what the file may say, what is refused and where, and what becomes of them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.fitting.certificate_entry import from_callendar_van_dusen_certificate
from daemon.fitting.classes import nominal_resistance_ohm
from daemon.fitting.errors import BadReadings, FittingError
from daemon.fitting.fit import fit_characteristic
from daemon.fitting.readings_csv import parse_readings
from daemon.fitting.readings_points import points_from_readings
from daemon.fitting.uncertainty import Component

_REFERENCE = from_callendar_van_dusen_certificate(
    {"R0": 100.0, "A": 3.9083e-3, "B": -5.775e-7, "C": -4.183e-12}, (-40, 200), 10.0, 2.0
)
_GOOD = """# readings taken at Tern Rock, 2026-05-04
label,temperature_c,resistance_ohm,current_ma
ice, 0.002, 100.0021, 1
ice, 0.003, 100.0027, 1
warm, 50.01, 119.4001, 1
warm, 50.02, 119.4043, 1
"""


def test_labels_gather_readings_into_points_with_a_pooled_scatter():
    points = points_from_readings(parse_readings(_GOOD))
    assert [(p.label, round(p.temperature_c, 4)) for p in points] == [("ice", 0.0025), ("warm", 50.015)]
    assert points[0].resistance_ohm == pytest.approx(100.0024)
    assert points[0].random_ohm == points[1].random_ohm > 0


def test_a_drift_of_the_bath_during_a_point_is_no_scatter():
    rows = [(place + 0.01 * i, label) for place, label in ((20, "p"), (80, "q")) for i in range(8)]
    steady = "".join(f"{t},{float(nominal_resistance_ohm(t, 100.0)):.7f},{label}\n" for t, label in rows)
    for point in points_from_readings(parse_readings("temperature_c,resistance_ohm,label\n" + steady)):
        assert point.random_ohm < 3e-5


def test_ohms_of_the_reference_become_degrees_by_its_certificate():
    text = f"reference_ohm,resistance_ohm\n{float(_REFERENCE.resistance_ohm(75.0)):.9f},128.99\n"
    (reading,) = parse_readings(text, _REFERENCE)
    assert reading.temperature_c == pytest.approx(75.0, abs=1e-7)
    with pytest.raises(BadReadings, match="certificate"):
        parse_readings(text)
    with pytest.raises(BadReadings, match=r"row 2, column reference_ohm.*-40"):
        parse_readings("reference_ohm,resistance_ohm\n20.0,128.99\n", _REFERENCE)


def test_two_currents_give_the_zero_power_resistance():
    rows = [f"p,20.0,{107.80 + 0.004 * i * i + 1e-5 * (k - 0.5)},{i}" for i in (1, 2) for k in (0, 1)]
    (point,) = points_from_readings(
        parse_readings("label,temperature_c,resistance_ohm,current_ma\n" + "\n".join(rows))
    )
    assert point.resistance_ohm == pytest.approx(107.80, abs=2e-5)


def test_single_readings_need_a_stated_scatter():
    text = "temperature_c,resistance_ohm\n0,100\n50,119.4\n"
    with pytest.raises(BadReadings, match="state the standard deviation"):
        points_from_readings(parse_readings(text))
    assert [p.random_ohm for p in points_from_readings(parse_readings(text), 2e-3)] == [2e-3, 2e-3]


def test_a_csv_alone_makes_a_calibration():
    t = np.arange(0, 101, 20)
    ohms = 100.01 * (1 + 3.908e-3 * t - 5.78e-7 * t**2)
    rows = "\n".join(
        f"{x},{r + 4e-4 * (-1) ** i:.5f},p{x}" for x, r in zip(t, ohms, strict=True) for i in (0, 1)
    )
    points = points_from_readings(parse_readings("temperature_c,resistance_ohm,label\n" + rows))
    fitted = fit_characteristic(points, "callendar_van_dusen", [Component("reference", 20, divisor=2)])
    assert fitted.theta == pytest.approx((100.01, 3.908e-3, -5.78e-7), rel=1e-4)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "no readings"),
        ("temperature_c,resistance_ohm\n", "no readings"),
        ("temperature_c\n0\n", "resistance_ohm is missing"),
        ("resistance_ohm\n100\n", "exactly one of"),
        ("temperature_c,reference_ohm,resistance_ohm\n0,100,100\n", "exactly one of"),
        ("temperature_c,resistance_ohm,colour\n0,100,red\n", "row 1: unknown column 'colour'"),
        ("temperature_c,resistance_ohm,resistance_ohm\n0,100,100\n", "stands twice"),
        ("temperature_c,resistance_ohm\n0,100\n1,100,5\n", "row 3: 3 cells"),
        ("temperature_c,resistance_ohm\n0,100\nx,100\n", "row 3, column temperature_c: 'x'"),
        ("temperature_c,resistance_ohm\n0,nan\n", "row 2, column resistance_ohm"),
        ("temperature_c,resistance_ohm\ninf,100\n", "row 2, column temperature_c"),
        ("temperature_c,resistance_ohm\n0,-100\n", "row 2, column resistance_ohm"),
        ("temperature_c,resistance_ohm\n0,1_00\n", "row 2, column resistance_ohm"),
        ("temperature_c,resistance_ohm\n0,\n", "row 2, column resistance_ohm"),
        ("temperature_c,resistance_ohm,label\n0,100,\n", "row 2, column label"),
        ("temperature_c,resistance_ohm,current_ma\n0,100,0\n", "row 2, column current_ma"),
        ('temperature_c,resistance_ohm\n0,"100\n', "row 2"),
        ("temperature_c;resistance_ohm\n0;100\n", "unknown column"),
    ],
)
def test_a_bad_file_is_refused_with_row_and_column(text, complaint):
    with pytest.raises(BadReadings, match=complaint):
        parse_readings(text)


def test_readings_of_one_point_lie_close_together():
    text = "temperature_c,resistance_ohm,label\n0,100,p\n50,119.4,p\n"
    with pytest.raises(BadReadings, match=r"span 50\.00 K"):
        points_from_readings(parse_readings(text))


@given(st.text(alphabet=st.characters(codec="utf-8"), max_size=200))
def test_no_text_whatever_brings_more_than_a_refusal(text):
    for file in (text, "temperature_c,resistance_ohm\n" + text):
        try:
            points_from_readings(parse_readings(file), 1e-3)
        except FittingError as refusal:
            assert str(refusal)


def test_a_long_file_without_labels_is_read_in_one_pass():
    rows = "".join(f"{20 + 1e-5 * i:.5f},107.8\n" for i in range(20_000))
    points = points_from_readings(parse_readings("temperature_c,resistance_ohm\n" + rows), 1e-3)
    assert len(points) == 20_000
