"""A laboratory checks its copy of the program before it trusts it: tables, nights, faults."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.fitting import callendar_van_dusen
from daemon.program import this_program
from daemon.validation.check import Check, Part
from daemon.validation.faults import TRIALS, Trial, check_faults
from daemon.validation.nights import EXAMPLES
from daemon.validation.page import validation_page
from daemon.validation.published import check_published
from daemon.validation.records import check_records
from plans.loading import load_plan, with_seed


def test_every_published_table_holds() -> None:
    part = check_published()
    assert part.holds and len(part.checks) >= 25
    assert all(check.source for check in part.checks)


def test_a_wrong_coefficient_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(callendar_van_dusen, "IEC_B", -5.775e-7 * 1.001)
    part = check_published()
    assert not part.holds
    assert ["IEC 60751" in check.source for check in part.checks if not check.holds] == [True]


def test_a_fault_is_answered_and_no_rating_is_passed(tmp_path: Path) -> None:
    said: list[str] = []
    part = check_faults(tmp_path, [TRIALS[0]], said.append)
    assert part.holds and "panel" in part.checks[0].what
    assert said == ["fault 1 of 1: set-point turned up on the panel"]


def test_a_night_on_which_no_guard_speaks_does_not_pass(tmp_path: Path) -> None:
    late = Trial("short.toml", "stirrer-stop@30:00", "nothing breaks before the end", ("cut",))
    assert not check_faults(tmp_path, [late], lambda sentence: None).holds


def test_synthetic_nights_differ_by_their_seed_alone() -> None:
    one, other = (with_seed(load_plan(EXAMPLES / "short.toml"), seed) for seed in (1, 2))
    assert one.texts.plan == other.texts.plan and one.texts.bench != other.texts.bench


def test_the_report_names_the_program_and_what_does_not_hold() -> None:
    program = this_program()
    parts = [Part("A part", "about it", (Check("a sum", "2", "3", "arithmetic", False),))]
    page = validation_page(parts, program, 1.8e9, "")
    assert "1 of 1 checks do NOT hold" in page and program.version in page
    assert "signature of the person who authorises" in page
    assert "Signed by A. Tern" in validation_page(parts, program, 1.8e9, "A. Tern")
    assert dict(program.libraries)["numpy"]


def test_the_laboratory_s_own_records_are_walked_and_replayed(tmp_path: Path) -> None:
    kept = Path(__file__).parent / "kept" / "format-2.record"
    shutil.copy(kept, tmp_path / "whole.record")
    text = kept.read_bytes()
    (tmp_path / "torn.record").write_bytes(text[: len(text) // 2])
    said: list[str] = []
    part = check_records(tmp_path, said.append)
    holds = {check.what: check.holds for check in part.checks}
    assert holds["whole.record: as it was written"]
    assert not holds["torn.record: as it was written"] and not holds["torn.record: replayed"]
    assert not part.holds and said[-1] == "record 2 of 2"


def test_a_folder_without_records_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["validate", "--records", str(tmp_path)]) == 2
    assert "no record in it" in capsys.readouterr().err


def test_an_absurd_number_of_nights_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["validate", "--seeds", "0"]) == 2
    assert "expected a number from 1" in capsys.readouterr().err


@pytest.mark.campaign
def test_this_copy_is_valid(tmp_path: Path) -> None:
    page = tmp_path / "validation.html"
    assert main(["validate", "--seeds", "1", "--report", str(page), "--name", "A. Tern"]) == 0
    assert "checks hold." in page.read_text(encoding="utf-8")
