"""Before heat: points too hot or too cold for anything in the source are refused in plain words."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from daemon.precheck import Finding, PrecheckReport, precheck
from plans.loading import load_plan, parse_plan

THE_DAY = date(2026, 1, 15)  # when the demo's nights begin

EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"


def report(name: str, plan: dict[str, str] | None = None, **files: dict[str, str]) -> PrecheckReport:
    texts = load_plan(EXAMPLES / name).texts
    edits = {"plan": plan or {}, **files}
    result = {}
    for key in ("plan", "bench", "register"):
        text = getattr(texts, key)
        for old, new in edits.get(key, {}).items():
            assert old in text
            text = text.replace(old, new)
        result[key] = text
    return precheck(parse_plan(result["plan"], result["bench"], result["register"]), THE_DAY)


def refusals(checked: PrecheckReport, check: str) -> list[Finding]:
    return [finding for finding in checked.refusals if finding.check == check]


@pytest.mark.parametrize("name", ["overnight.toml", "short.toml", "block-night.toml"])
def test_the_example_nights_may_run(name: str) -> None:
    assert [finding.text for finding in report(name).refusals] == []


def test_a_stainless_probe_in_a_480_degree_block_is_refused_for_a_tired_reader() -> None:
    (finding,) = refusals(report("too-hot.toml"), "too hot")
    assert finding.text.startswith(
        "Point 4 (480 °C) would reach up to 494 °C in the block (10 K overshoot, 4 K coasting)."
    )
    assert "Probe TR-IPRT-12 (stainless steel sheath" in finding.text
    assert "may see 450 °C at most. Lower the point to 436 °C or take the probe out." in finding.text
    assert (finding.value, finding.limit) == ("494 °C", "450 °C")
    assert "TR-IPRT-12" in finding.set_by


def test_the_temperature_it_proposes_is_accepted_and_one_kelvin_more_is_not() -> None:
    cut_out = {"setting_c = 440.0": "setting_c = 450.0"}
    assert not refusals(report("too-hot.toml", {"480.0": "436.0"}, bench=cut_out), "too hot")
    assert refusals(report("too-hot.toml", {"480.0": "437.0"}, bench=cut_out), "too hot")


def test_a_faster_ramp_coasts_further() -> None:
    cut_out = {"setting_c = 440.0": "setting_c = 450.0"}
    faster = {"480.0": "436.0", "ramp_k_per_min = 4.0": "ramp_k_per_min = 5.0"}
    assert refusals(report("too-hot.toml", faster, bench=cut_out), "too hot")


def test_every_probe_that_would_get_too_hot_is_named() -> None:
    hot = report("too-hot.toml", register={'sheath = "nickel_chromium"': 'sheath = "stainless_steel"'})
    named = " ".join(finding.set_by for finding in refusals(hot, "too hot"))
    assert all(serial in named for serial in ("TR-IPRT-11", "TR-IPRT-12", "TR-CHK-31"))


def test_the_source_and_the_fluid_have_limits_of_their_own() -> None:
    bath = refusals(report("overnight.toml", bench={"maximum_c = 210.0": "maximum_c = 203.0"}), "too hot")
    assert [finding.set_by.split(":")[0] for finding in bath] == ["the bath"]
    oil = refusals(report("overnight.toml", bench={"flash_c = 302.0": "flash_c = 225.0"}), "too hot")
    assert "flash point 225 °C less 25 K" in oil[0].set_by


def test_a_probe_is_never_taken_below_its_lowest_temperature() -> None:
    cold = report("overnight.toml", register={"minimum_c = -60.0": "minimum_c = 10.0"})
    (finding,) = refusals(cold, "too cold")
    assert "The first point (0 °C) and the last point (0 °C)" in finding.text
    assert finding.limit == "10 °C"


def test_a_fluid_is_kept_ten_kelvin_above_freezing() -> None:
    edits = {"minimum_c = -35.0": "minimum_c = -5.0", "freezing_c = -60.0": "freezing_c = -5.0"}
    (finding,) = refusals(report("overnight.toml", bench=edits), "too cold")
    assert "freezing point -5 °C plus 10 K" in finding.set_by


def test_below_zero_only_dry_and_sealed_thermometers_go() -> None:
    cold = {"temperature_c = 40.0": "temperature_c = -20.0"}
    assert not report("short.toml", cold).refused
    moist = report("short.toml", cold, register={"dry_sealed = true": "dry_sealed = false"})
    assert len(refusals(moist, "moisture")) == 3
    assert any("purge" in finding.text.lower() for finding in moist.cautions)


def test_a_head_too_near_the_heat_is_refused() -> None:
    near = report("block-night.toml", bench={"immersion_mm = 200.0": "immersion_mm = 430.0"})
    assert {finding.check for finding in near.refusals} == {"head"}
    assert any("heat shield" in finding.text for finding in report("block-night.toml").cautions)


def test_a_simulated_bench_is_judged_like_a_real_one() -> None:
    real = {
        '"simulated:source"': '"tcp://block:502"',
        '"simulated:bridge"': '"tcp://bridge:5025"',
    }
    texts = load_plan(EXAMPLES / "too-hot.toml").texts
    bench = texts.bench[: texts.bench.index("[simulation]")]
    for old, new in real.items():
        bench = bench.replace(old, new)
    wired = precheck(parse_plan(texts.plan, bench, texts.register), THE_DAY)
    simulated = precheck(load_plan(EXAMPLES / "too-hot.toml"), THE_DAY)
    assert [finding.text for finding in wired.refusals] == [finding.text for finding in simulated.refusals]


def test_a_point_at_the_very_edge_of_a_class_is_cautioned_for_the_swing() -> None:
    edge = {'element = "film"\nsheath = "stainless_steel"\ntolerance_class = "A"': FILM_AA}
    film = {'"TR-IPRT-11"': '"TR-IPRT-14"'}
    checked = report("short.toml", film, register=edge, bench={"setting_c = 220.0": "setting_c = 150.0"})
    assert not checked.refused
    assert any("may swing 5 K below" in finding.text for finding in checked.cautions)


FILM_AA = 'element = "film"\nsheath = "stainless_steel"\ntolerance_class = "AA"'
