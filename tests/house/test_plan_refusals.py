"""A bad value in any of the three files is refused with a sentence that names file, table, key and value."""

from __future__ import annotations

from pathlib import Path

import pytest

from plans.errors import PlanError
from plans.loading import parse_plan
from plans.run_plan import Names

EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"
PLAN = (EXAMPLES / "overnight.toml").read_text(encoding="utf-8")
BENCH = (EXAMPLES / "bench-bath.toml").read_text(encoding="utf-8")
REGISTER = (EXAMPLES / "register.toml").read_text(encoding="utf-8")
NAMES = Names("overnight.toml", "bench-bath.toml", "register.toml")


def changed(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new, 1)


def refusal(plan: str = PLAN, bench: str = BENCH, register: str = REGISTER) -> str:
    with pytest.raises(PlanError) as caught:
        parse_plan(plan, bench, register, NAMES)
    return str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("= 40.0", "= nan", ["overnight.toml", "[[points]] 1, temperature_c", "nan", "ordinary"]),
        ("= 40.0", "= -inf", ["[[points]] 1, temperature_c", "inf"]),
        ("= 40.0", "= 1e999", ["[[points]] 1, temperature_c", "inf"]),
        ("= 40.0", "= -300.0", ["[[points]] 1, temperature_c = -300.0", "absolute zero"]),
        ("= 40.0", "= -31.0", ["[[points]] 1, temperature_c = -31", "-30 °C to 210 °C"]),
        ("= 40.0", "= 5000", ["[[points]] 1, temperature_c = 5000", "must be 1000"]),
        ("= 40.0", '= "40"', ['"40"', "number is expected", "without quotes"]),
        ("= 40.0", "= true", ["= true", "number is expected"]),
        ("= 40.0", "= 123456789012345678901234567890", ["very long", "15 digits"]),
        ("= 40.0", "= " + "9" * 5000, ["15 digits"]),
        ("temperature_c = 40.0", "temprature_c = 40.0", ["did you mean temperature_c", "this is missing"]),
        ("temperature_c = 40.0", "zzz = 40.0", ["unknown key; known here are"]),
        ("= 40.0", "= 150.0", ["[plan] order", "highest"]),
        ("channel = 3", "channel = 2", ["[[items]] 2, channel = 2", "already carries TR-IPRT-11"]),
        ("channel = 3", "channel = 9", ["[[items]] 2, channel = 9", "channels 1 to 8"]),
        ("channel = 3", "channel = 3.5", ["whole number"]),
        ("TR-IPRT-12", "TR-IPRT-11", ["[[items]] 2, serial", "already [[items]] 1"]),
        ("TR-IPRT-12", "TR-IPRT-99", ["[[items]] 2, serial", "not in the register register.toml"]),
        ("TR-IPRT-12", "../../etc", ["[[items]] 2, serial", "only letters, digits"]),
        ('serial = "TR-REF-01"', 'serial = "TR-SEMI-21"', ["[reference] serial", "no calibration"]),
        ("current_ma = 1.0", "current_ma = 1.4142", ["[defaults] current_ma", "TR-IPRT-11", "1 mA at most"]),
        ("cycles = 3 ", "cycles = 1 ", ["[defaults.sequence] cycles", "must be 2"]),
        ("readings_per_visit = 4", "readings_per_visit = 1", ["6 readings", "10 are needed"]),
        ('order = "up_and_down"', 'order = "custom"', ["order_reason"]),
        ('order = "up_and_down"', 'order = "upanddown"', ["expected one of", "did you mean up_and_down"]),
        ("temperature_c = 0.0 ", "temperature_c = 5.0 ", ["[zero]", "0.0 or 0.01 °C"]),
        ("parking_c = 20.0 ", "parking_c = 120.0 ", ["[finish] parking_c = 120", "-30 °C to 60 °C"]),
        ("[zero]", "[zero]\nlast = false", ["[zero]", "needs a reason"]),
        ("[[points]]", "[points]", ["not valid TOML"]),
        ("[plan]", "[plan]\n[plan]", ["not valid TOML", "twice"]),
    ],
)
def test_a_bad_value_in_the_plan_is_refused_in_words(old: str, new: str, words: list[str]) -> None:
    text = refusal(plan=changed(PLAN, old, new))
    for word in words:
        assert word in text, text


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("minimum_c = -30.0", "minimum_c = 300.0", ["[heat_source]: minimum_c must be below maximum_c"]),
        ('"simulated:source"', '"tcp://bath:99999"', ["[heat_source] address", "1 to 65535"]),
        ('"simulated:source"', '"somewhere"', ["[heat_source] address", "tcp://host:port"]),
        ('"simulated:source"', '"serial:/dev/ttyUSB0"', ["simulated throughout"]),
        ("flash_c = 302.0", "", ["[fluid]", "needs flash_c"]),
        ("fire_c = 340.0", "fire_c = 240.0", ["fire point cannot be below"]),
        ("[fluid]", "[bridge.fluid]", ["[bridge] fluid", "unknown key; known here are address"]),
        ('kind = "stirred_bath"', 'kind = "dry_block"', ["a block has no fluid"]),
        ("contactor = true", 'contactor = "yes"', ["contactor", "true or false"]),
        ("tested_on = 2025-10-06", 'tested_on = "2025-10-06"', ["tested_on", "date is expected"]),
        ("17:00:00Z", "17:00:00+02:00", ["start_utc", "UTC"]),
        ('unit = "mK"', 'unit = "ppm"', ["[[uncertainty]] 1", "go together"]),
        ("[fluid]", "[fluids]", ["did you mean fluid"]),
    ],
)
def test_a_bad_value_in_the_bench_is_refused_in_words(old: str, new: str, words: list[str]) -> None:
    text = refusal(bench=changed(BENCH, old, new))
    assert "bench-bath.toml" in text
    for word in words:
        assert word in text, text


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"TR-IPRT-12"', '"TR-IPRT-11"', ["TR-IPRT-11", "more than once"]),
        ("minimum_c = -45.0", "minimum_c = 20.0", ["overnight.toml", "0", "calibrated from 20 °C"]),
        ("minimum_c = -60.0", "minimum_c = 500.0", ["[[thermometers]] 1", "must be below the highest"]),
        ("r_tpw_ohm = 100.0078", "r_tpw_ohm = 25.5", ["more than 5 %", "another thermometer"]),
        ("b = -2.47e-5", "", ["sub-range 3.3.2.2 has the coefficients a, b"]),
        ('"3.3.1.3" ', '"3.3.2.1" ', ["sub-range 3.3.2.1 has the coefficients a, b, c"]),
        ('"3.3.1.3" ', '"3.3.3" ', ["3.3.3 alone"]),
        ("due = 2026-11-10", "due = 2025-11-10", ["'due' must be later"]),
        ("wires = 4", "wires = 5", ["[[thermometers]] 1, wires = 5", "must be 4"]),
        (
            "length_below_handle_mm = 480.0",
            "length_below_handle_mm = 250.0",
            ["300 mm deep", "must stay out"],
        ),
    ],
)
def test_a_bad_value_in_the_register_is_refused_in_words(old: str, new: str, words: list[str]) -> None:
    text = refusal(register=changed(REGISTER, old, new))
    for word in words:
        assert word in text, text


def test_a_point_outside_the_reference_calibration_is_refused() -> None:
    text = refusal(register=changed(REGISTER, "maximum_c = 419.0", "maximum_c = 150.0"))
    assert (
        "[[points]] 6, temperature_c = 200: the reference TR-REF-01 is calibrated from -45 °C to 150 °C"
        in text
    )


def test_a_plan_without_points_is_refused() -> None:
    header = PLAN[: PLAN.index("[[points]]")]
    assert "points" in refusal(plan=header)
    assert "empty" in refusal(plan="points = []\n" + header)


def test_problems_of_all_three_files_come_together() -> None:
    text = refusal(
        changed(PLAN, "= 40.0", "= -300.0"),
        changed(BENCH, "channels = 8", "channels = 0"),
        changed(REGISTER, "wires = 4", "wires = 7"),
    )
    assert {line.split(",")[0] for line in text.splitlines()} == {
        "overnight.toml",
        "bench-bath.toml",
        "register.toml",
    }


def test_several_misfits_between_the_files_come_together() -> None:
    twice = changed(changed(PLAN, "channel = 3", "channel = 2"), "= 40.0", "= -31.0")
    assert len(refusal(plan=twice).splitlines()) >= 2


def test_an_unknown_key_in_a_table_that_has_a_name_of_its_own_is_named() -> None:
    words = refusal(bench=BENCH + "\n[simulation.truths.TR-IPRT-11]\nemf_nv = 1.0\n")
    assert "emf_nv" in words and "did you mean emf_uv?" in words
