"""What the craft asks of a plan is said before any heat."""

from __future__ import annotations

from pathlib import Path

from daemon.precheck import precheck
from plans.loading import load_plan, parse_plan
from plans.run_plan import RunPlan

EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"


def with_plan(name: str, more: str) -> RunPlan:
    """An example with more lines at its end."""
    texts = load_plan(EXAMPLES / name).texts
    return parse_plan(texts.plan + more, texts.bench, texts.register)


def sentences(run: RunPlan, check: str) -> list[str]:
    return [finding.sentence for finding in precheck(run).findings if finding.check == check]


def test_a_criterion_tighter_than_the_source_was_seen_to_reach_is_flagged() -> None:
    run = with_plan("short.toml", "\n[[points]]\ntemperature_c = 180.0\nequilibrium = { scatter_mk = 0.7 }\n")
    (sentence,) = sentences(run, "criterion")
    assert "Point 2 (180 °C) asks for drift 5 mK and scatter 0.7 mK" in sentence
    assert "was seen to reach 2 mK and 1.5 mK (near 200 °C, 2025-10-06)" in sentence


def test_the_usual_criterion_is_not_flagged() -> None:
    assert sentences(load_plan(EXAMPLES / "overnight.toml"), "criterion") == []
