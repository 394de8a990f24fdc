"""What the craft asks of a plan is said before any heat."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from daemon.precheck import precheck
from daemon.precheck.inspections import leak_mk
from plans.errors import PlanError
from plans.loading import load_plan, parse_plan
from plans.run_plan import RunPlan

THE_DAY = date(2026, 1, 15)  # when the demo's nights begin

EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"


def with_plan(name: str, more: str) -> RunPlan:
    """An example with more lines at its end."""
    texts = load_plan(EXAMPLES / name).texts
    return parse_plan(texts.plan + more, texts.bench, texts.register)


def sentences(run: RunPlan, check: str) -> list[str]:
    return [finding.sentence for finding in precheck(run, THE_DAY).findings if finding.check == check]


def test_a_criterion_tighter_than_the_source_was_seen_to_reach_is_flagged() -> None:
    run = with_plan("short.toml", "\n[[points]]\ntemperature_c = 180.0\nequilibrium = { scatter_mk = 0.7 }\n")
    (sentence,) = sentences(run, "criterion")
    assert "Point 2 (180 °C) asks for drift 5 mK and scatter 0.7 mK" in sentence
    assert "was seen to reach 2 mK and 1.5 mK (near 200 °C, 2025-10-06)" in sentence


def test_the_usual_criterion_is_not_flagged() -> None:
    assert sentences(load_plan(EXAMPLES / "overnight.toml"), "criterion") == []


INSPECTED = """
[[inspections]]
serial = "TR-IPRT-11"
by = "M. Tern"
on = 2026-01-15
insulation_mohm = {mohm}
"""


def test_a_hundred_megohms_beside_a_hundred_ohms_cost_a_quarter_of_a_millikelvin() -> None:
    assert leak_mk(100.0, 100.0, 0.0) == pytest.approx(0.256, abs=0.001)
    assert leak_mk(100.0, 100.0, 420.0) == pytest.approx(1.9, abs=0.1)
    assert leak_mk(100.0, 10.0, 0.0) == pytest.approx(10.0 * leak_mk(100.0, 100.0, 0.0))


def test_poor_insulation_is_a_caution_with_its_meaning() -> None:
    findings = precheck(with_plan("short.toml", INSPECTED.format(mohm=8.0)), THE_DAY).cautions
    found = [f for f in findings if f.check == "insulation"]
    assert "TR-IPRT-11: 8 MΩ at 100 V (M. Tern, 2026-01-15)" in found[0].sentence
    assert "costs 3.2 mK at 0 °C" in found[0].sentence and "dry it" in found[0].remedy
    assert "No insulation resistance is written down for TR-CHK-31" in found[1].sentence


def test_good_insulation_is_noted_and_no_caution() -> None:
    findings = precheck(with_plan("short.toml", INSPECTED.format(mohm=500.0)), THE_DAY).findings
    (good,) = [f for f in findings if f.check == "insulation" and "500 MΩ" in f.sentence]
    assert good.severity == "info" and good.remedy == ""


def test_an_inspection_of_a_thermometer_that_is_not_there_is_refused() -> None:
    with pytest.raises(PlanError, match="this thermometer is not in this run"):
        with_plan("short.toml", INSPECTED.format(mohm=500.0).replace("IPRT-11", "IPRT-12"))
