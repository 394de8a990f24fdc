"""Thermal EMF drops out when the current is reversed within each visit, and is reported."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from daemon.bridge_offers import check_offers
from daemon.journal.entry import Kind
from daemon.journal.read import read_entries
from daemon.rehearsal import rehearse
from daemon.results.calibrate import NightResult, calibrate
from daemon.results.pairs import Pairs, SequenceReading
from daemon.results.reduce import Reduced
from drivers.errors import OutsideLimits
from drivers.roles import BridgeCapabilities
from plans.loading import load_plan, parse_plan
from plans.run_plan import RunPlan
from tests.nights.rehearsed import EXAMPLES

SERIAL, EMF_UV = "TR-IPRT-11", 4.0
REVERSED = "[defaults.sequence]\nreverse_current = true\n\n"


def warm_junction(sequence: str) -> RunPlan:
    """One point near the room with 4 µV in the leads of one thermometer, which is 10 mK at 1 mA."""
    texts = load_plan(EXAMPLES / "short.toml").texts
    alone = '[zero]\nfirst = false\nlast = false\nreason = "for the current alone"\n'
    plan = texts.plan.replace("[zero]\ntemperature_c = 0.0\n", sequence + alone).replace("40.0", "30.0")
    plan = plan.replace(f'serial = "{SERIAL}"\n', f'serial = "{SERIAL}"\nsettling_s = 3.0\n')
    bench = texts.bench + f"\n[simulation.truths.{SERIAL}]\nemf_uv = {EMF_UV}\n"
    return parse_plan(plan, bench, texts.register)


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("reversal")
    for name, sequence in (("reversed", REVERSED), ("one_way", "")):
        rehearse(warm_junction(sequence), folder / f"{name}.record")
    return {name: folder / f"{name}.record" for name in ("reversed", "one_way")}


def first(night: NightResult) -> Reduced:
    return night.item(SERIAL).points[0]


def test_a_pair_is_its_mean_and_half_its_difference_is_thermal_emf() -> None:
    pairs = Pairs()
    assert pairs.join("sequence", 2, 1.0, SequenceReading(10.0, 100.004, 1, 2)) is None
    joined = pairs.join("sequence", 2, -1.0, SequenceReading(14.0, 99.996, 1, 2))
    assert joined == SequenceReading(12.0, pytest.approx(100.0), 1, 2)  # type: ignore[arg-type]
    assert pairs.emf_uv[2] == [pytest.approx(4.0)]


def test_what_is_left_of_another_visit_finds_no_partner_in_this_one() -> None:
    pairs = Pairs()
    assert pairs.join("sequence", 2, 1.0, SequenceReading(10.0, 100.0, 1, 2)) is None
    assert pairs.join("sequence", 2, -1.0, SequenceReading(60.0, 100.0, 1, 5)) is None


def test_thermal_emf_is_found_and_drops_out_of_the_result(records: dict[str, Path]) -> None:
    both, one_way = (calibrate(records[name]) for name in ("reversed", "one_way"))
    assert first(both).emf_uv == pytest.approx(EMF_UV, abs=0.05)
    assert first(one_way).emf_uv is None
    # Compared with the other thermometer of the same night, which has none: 4 µV at 1 mA are 4 mΩ.
    shift_ohm = first(one_way).resistance_ohm - first(both).resistance_ohm
    warmer_k = first(one_way).temperature_c - first(both).temperature_c
    assert shift_ohm - warmer_k * first(both).sensitivity_ohm_per_k == pytest.approx(1e-3 * EMF_UV, abs=2e-4)
    assert first(both).readings == first(one_way).readings


def test_both_ways_of_the_current_stand_in_the_record_in_equal_number(records: dict[str, Path]) -> None:
    entries = read_entries(records["reversed"], frozenset({Kind.ACTION}))
    asked = [e.body for e in entries if e.body.get("use") == "sequence" and e.body["channel"] == 2]
    ways = [body["current_ma"] for body in asked]
    assert ways.count(1.0) == ways.count(-1.0) == 24
    outward = [body["current_ma"] for body in asked if body["cycle"] == 1][:8]
    assert outward == [1.0] * 4 + [-1.0] * 4


def test_a_channel_that_settles_slowly_discards_more(records: dict[str, Path]) -> None:
    entries = read_entries(records["one_way"], frozenset({Kind.ACTION}))
    asked = [e.body for e in entries if e.body.get("use") in ("sequence", "discard") and e.body["cycle"]]
    thrown = {
        channel: sum(b["use"] == "discard" for b in asked if (b["channel"], b["cycle"]) == (channel, 1))
        for channel in (2, 3)
    }
    assert thrown == {2: 2 * 3, 3: 1}  # channel 3 is read twice without a switch


def test_a_bridge_that_cannot_reverse_is_not_asked_to_before_heat() -> None:
    offers = BridgeCapabilities(8, (1.0,), 1.0, 1.0)
    check_offers(warm_junction(""), offers)
    with pytest.raises(OutsideLimits, match="offers no reversal"):
        check_offers(warm_junction(REVERSED), offers)
    with pytest.raises(OutsideLimits, match=r"does not offer 1 mA; its currents are 0\.5 mA"):
        check_offers(warm_junction(REVERSED), replace(offers, currents_ma=(0.5,), reversal=True))
