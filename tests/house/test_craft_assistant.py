"""The assistant's plans fit every rating, test their own fit, and can be read by a person."""

from __future__ import annotations

import io
import shutil
from datetime import date
from pathlib import Path

import pytest

from daemon.assistant.answers import Answers, CannotPlan
from daemon.assistant.points import coefficients
from daemon.assistant.write import write_plan
from daemon.cli import main
from daemon.precheck import precheck
from daemon.precheck.heat import reach_c
from plans.loading import load_bench, load_plan, load_register, parse_plan
from plans.run_plan import RunPlan
from plans.unroll import measuring_steps

THE_DAY = date(2026, 1, 15)  # when the demo's nights begin

EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"
ANSWERS = [
    ("bench-bath.toml", "TR-REF-01", ("TR-IPRT-11", "TR-IPRT-14"), "TR-CHK-31", 0.0, 100.0),
    ("bench-bath.toml", "TR-REF-01", ("TR-SEMI-21",), "TR-CHK-31", 0.0, 500.0),
    ("bench-bath.toml", "TR-REF-01", ("TR-IPRT-13",), None, -80.0, 120.0),
    ("bench-block.toml", "TR-REF-01", ("TR-IPRT-12", "TR-SEMI-21"), "TR-CHK-31", 0.0, 600.0),
    ("bench-furnace.toml", "TR-REF-03", ("TR-SEMI-22", "TR-SEMI-23"), None, 100.0, 900.0),
]


def answers(
    bench: str, reference: str, items: tuple[str, ...], check: str | None, low: float, high: float
) -> Answers:
    return Answers("A try", bench, "register.toml", reference, items, check, low, high)


def planned(one: Answers) -> RunPlan:
    bench, register = load_bench(EXAMPLES / one.bench_file), load_register(EXAMPLES / one.register_file)
    text = write_plan(one, bench, register)
    read = ((EXAMPLES / name).read_text("utf-8") for name in (one.bench_file, one.register_file))
    return parse_plan(text, *read)


@pytest.mark.parametrize("given", ANSWERS)
def test_every_plan_passes_the_check_and_stays_below_every_rating(given: tuple[str, ...]) -> None:
    run = planned(answers(*given))  # type: ignore[arg-type]
    assert [finding.sentence for finding in precheck(run, THE_DAY).refusals] == []
    highest = run.rating.highest_allowed_c
    assert all(reach_c(run, step) <= highest for step in measuring_steps(run))
    assert all(step.ramp_k_per_min <= run.rating.heating.value for step in measuring_steps(run))


@pytest.mark.parametrize("given", ANSWERS)
def test_every_plan_has_two_temperatures_more_than_coefficients(given: tuple[str, ...]) -> None:
    run = planned(answers(*given))  # type: ignore[arg-type]
    different = {step.temperature_c for step in measuring_steps(run)}
    low, high = min(different), max(different)
    assert len(different) >= 2 + max(coefficients(one, low, high) for one in run.items)
    assert any(step.partner is not None for step in measuring_steps(run))


def test_what_was_cut_is_said_with_the_rule_that_cut_it() -> None:
    text = planned(answers(*ANSWERS[1])).texts.plan
    assert "# not up to 500 °C: " in text


def test_nothing_left_is_refused_in_words() -> None:
    with pytest.raises(CannotPlan, match="nothing is left of 500 °C to 600 °C"):
        planned(answers("bench-bath.toml", "TR-REF-01", ("TR-IPRT-11",), None, 500.0, 600.0))


def test_a_reference_without_a_certificate_is_refused() -> None:
    with pytest.raises(CannotPlan, match="TR-SEMI-21 has no calibration"):
        planned(answers("bench-bath.toml", "TR-SEMI-21", ("TR-IPRT-11",), None, 0.0, 100.0))


def test_the_command_writes_a_plan_once_and_never_over_another(tmp_path: Path) -> None:
    for name in ("bench-bath.toml", "register.toml"):
        shutil.copy(EXAMPLES / name, tmp_path / name)
    words = [
        "plan",
        "--bench",
        str(tmp_path / "bench-bath.toml"),
        "--register",
        str(tmp_path / "register.toml"),
    ]
    words += ["--reference", "TR-REF-01", "--items", "TR-IPRT-11", "--from-c", "0", "--to-c", "100"]
    words += ["--to", str(tmp_path / "mine.toml")]
    assert main(words) == 0
    assert load_plan(tmp_path / "mine.toml").plan.items[0].serial == "TR-IPRT-11"
    assert main(words) == 2


def test_an_answer_that_is_missing_is_asked_for_by_its_option(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "--bench", str(EXAMPLES / "bench-bath.toml")]) == 2
    assert "--register is missing" in capsys.readouterr().err


@pytest.mark.parametrize("points", ["-1", "201"])
def test_a_number_of_points_that_no_plan_has_is_refused(
    points: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["plan", "--points", points]) == 2
    assert f"--points {points}: a plan has up to 200 points" in capsys.readouterr().err


def test_an_end_of_input_at_the_prompt_is_no_answer(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setattr("sys.stdin", Terminal(""))
    assert main(["plan"]) == 2
    assert "REFUSED: no answer was given for the bench file." in capsys.readouterr().err
