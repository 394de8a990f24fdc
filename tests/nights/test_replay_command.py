"""`ohmvigil replay`: what it says, and what its exit code says to a program."""

from __future__ import annotations

import json
import shutil
from dataclasses import astuple
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.results.report import write_report
from plans.run_plan import RunPlan
from tests.nights.replayed import brief_night, recorded

KEPT = Path(__file__).parent / "kept"


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A brief night with its report beside it."""
    record = recorded(tmp_path_factory.mktemp("told") / "night.record", brief_night())
    write_report(record, record.with_suffix(".report"))
    return record


def test_the_same_program_gives_the_same_decisions_and_results(
    night: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["replay", str(night)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("SAME: ") and "3 thermometers" in said and "0 mK" in said


def test_a_result_that_was_another_is_told_in_millikelvin(
    night: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report = json.loads((night.with_suffix(".report") / "coefficients.json").read_text("utf-8"))
    report["thermometers"][0]["points"][0]["temperature_c"] += 0.002
    (tmp_path / "coefficients.json").write_text(json.dumps(report), "utf-8")
    assert main(["replay", str(night), "--report", str(tmp_path)]) == 1
    assert "temperatures up to 2 mK" in capsys.readouterr().out


def test_another_guard_says_when_and_what_stays_unknowable(
    night: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    changed = tmp_path / "tighter.toml"
    changed.write_text("[guards.rising_too_fast]\nfactor = 1.001\nstands_s = 5\n", "utf-8")
    assert main(["replay", str(night), "--guards", str(changed)]) == 1
    said = capsys.readouterr().out
    assert "guard rising_too_fast says park" in said
    assert "Unknowable from 0:" in said and "was never measured" in said and "Unknown: point 1" in said


def written(run: RunPlan, folder: Path) -> Path:
    """A run plan as the three files of which it was read."""
    for name, text in zip(("plan", "bench", "register"), astuple(run.texts), strict=True):
        (folder / f"{name}.toml").write_text(text, "utf-8")
    return folder / "plan.toml"


def test_a_plan_by_which_the_night_goes_the_same_way_evaluates_it_anew(
    night: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = written(brief_night(), tmp_path)
    assert main(["replay", str(night), "--plan", str(plan)]) == 0
    assert "Results (the recorded plan): 3 thermometers" in capsys.readouterr().out
    register = tmp_path / "register.toml"  # the reference has a new certificate, R(TPW) 50 µK higher
    register.write_text(register.read_text("utf-8").replace("= 100.0078\n", "= 100.00782\n"), "utf-8")
    assert main(["replay", str(night), "--plan", str(plan), "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert told["unknowable_from_s"] is None
    assert all(0.03 < one["temperature_mk"] < 0.1 for one in told["results"])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[guards.rising_too_fast]\nfactor = 9.0\n", "would loosen it"),
        ("[guards.no_such_guard]\nfactor = 1.0\n", "there is no guard"),
        ("[guards.rising_too_fast]\nfactor = nan\n", "tighter.toml"),
        ("[plan]\n", "nothing else"),
        ("guards = 3\n", "tighter.toml"),
    ],
)
def test_a_bad_guards_file_is_a_sentence(
    text: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    changed = tmp_path / "tighter.toml"
    changed.write_text(text, "utf-8")
    assert main(["replay", str(KEPT / "format-2.record"), "--guards", str(changed)]) == 2
    assert says in capsys.readouterr().err


def test_a_folder_is_one_table_with_a_row_for_each_record(
    night: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copy(night, tmp_path / "a.record")
    (tmp_path / "deeper").mkdir()
    shutil.copy(night, tmp_path / "deeper" / "b.record")
    assert main(["replay", "--all", str(tmp_path), "--processes", "2", "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["records"]
    assert [(row["record"], row["same"]) for row in rows] == [("a.record", True), ("b.record", True)]
    (tmp_path / "c.record").write_bytes(b"no record")
    assert main(["replay", "--all", str(tmp_path), "--processes", "1"]) == 2
    said = capsys.readouterr().out
    assert "c.record  NOT REPLAYED" in said and "2 of 3 the same" in said


def test_a_folder_or_a_report_in_the_wrong_place_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["replay", str(tmp_path)]) == 2 and main(["replay", "--all", str(tmp_path / "no")]) == 2
    assert main(["replay", str(KEPT / "format-2.record"), "--report", str(tmp_path)]) == 2
    said = capsys.readouterr().err
    assert "give --all" in said and "no such folder" in said and "no coefficients.json" in said


def test_nothing_to_replay_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["replay"]) == 2 and main(["replay", "--all", str(tmp_path)]) == 2
    assert "there is no record" in capsys.readouterr().err
