"""The check standard speaks before anyone signs: a run that calls for action is not accepted in silence."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pytest

from daemon.cli import main
from daemon.history.check_standard import NO_CHECK_STANDARD, CheckStandard, check_standard_of
from daemon.history.past import past_of
from daemon.journal.entry import Entry, Kind
from daemon.results.calibrate import calibrate
from daemon.results.certificate.issue import authorise
from daemon.results.report import write_report
from daemon.review.acts import accept
from daemon.review.morning import look
from daemon.review.sign import NotSigned
from daemon.review.state import read_review
from plans.loading import load_plan, parse_plan
from tests.nights.morning import EIGHT_OCLOCK, KEEPER, NINE_OCLOCK, papers, words_of
from tests.nights.rehearsed import EXAMPLES, rehearsed_once
from tests.nights.report_nights import told_again

_DAY_S = 86400.0
_SMALL_OHM = (0.0, 4e-4, -4e-4, 2e-4, -2e-4, 3e-4, -3e-4, 1e-4, -1e-4)
_CHECK = "TR-CHK-31"


@pytest.fixture(scope="module")
def nights(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Nine good nights, told as real, then one in which the check standard reads 0.1 K more."""
    folder = tmp_path_factory.mktemp("nights")
    texts = load_plan(EXAMPLES / "short.toml").texts
    warm = "[[points]]\ntemperature_c = 50.0\n[[points]]\ntemperature_c = 60.0\n[finish]"
    run = parse_plan(texts.plan.replace("[finish]", warm), texts.bench, texts.register)
    rehearsed_once(run, folder / "first.rehearsed")
    channel = next(number for number, name in run.channels.items() if name == _CHECK)
    for day, more_ohm in enumerate((*_SMALL_OHM, 0.039)):
        told_again(
            folder / "first.rehearsed", folder / f"{day}.record", _more(channel, more_ohm), day * _DAY_S
        )
    return folder


def _more(channel: int, more_ohm: float) -> Any:
    def change(entry: Entry) -> Iterable[tuple[str, Mapping[str, Any]]]:
        body = entry.body
        if entry.kind == Kind.OPENED:
            body = {**body, "simulated": False, "seed": None}
        if body.get("what") == "resistance" and body["channel"] == channel:
            body = {**body, "value": body["value"] + more_ohm}
        yield entry.kind, body

    return change


@pytest.fixture
def folder(nights: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(nights, tmp_path / "records"))


def said_in(record: Path) -> CheckStandard | None:
    night = calibrate(record)
    return check_standard_of(night, past_of(record, night))


def test_a_chart_holds_only_the_runs_up_to_its_own(nights: Path) -> None:
    third, tenth = (said_in(nights / f"{day}.record") for day in (2, 9))
    assert third is not None and tenth is not None
    assert third.chart.marks == ("too few",) * 3 and not third.suspect
    assert tenth.chart.marks[-2:] == ("good", "action") and tenth.chart.suspect_since == 9
    assert tenth.differences_mk[9] - tenth.differences_mk[0] == pytest.approx(100.0, abs=2.0)


def test_a_suspect_check_standard_is_accepted_only_with_a_stated_reason(folder: Path) -> None:
    record = folder / "9.record"
    with pytest.raises(NotSigned, match="says why with --because"):
        accept(record, EIGHT_OCLOCK, KEEPER)
    accept(record, EIGHT_OCLOCK, KEEPER, "the check standard was dropped, log book p. 14")
    accepted = read_review(record).accepted
    assert accepted is not None and accepted.check_suspect and "action" in accepted.check_standard
    words = words_of(authorise(record, NINE_OCLOCK, "wr", "TR-IPRT-11", papers()).drawn.pdf)
    assert "suspect since 2026-01-24" in words
    assert "K. Sund accepted the results all the same: the check standard was dropped" in words


def test_a_good_check_standard_is_accepted_and_written_down(folder: Path) -> None:
    accept(folder / "8.record", EIGHT_OCLOCK, KEEPER)
    accepted = read_review(folder / "8.record").accepted
    assert accepted is not None and not accepted.check_suspect
    assert "good; provisional limits from 9 runs" in accepted.check_standard


def test_the_morning_and_the_page_tell_it_first(folder: Path) -> None:
    morning = look(folder / "9.record")
    assert not morning.good and morning.flags[0].startswith(f"The check standard {_CHECK}")
    summary = write_report(folder / "9.record", folder / "report")
    page = (folder / "report" / "summary.html").read_text("utf-8")
    assert "suspect since 2026-01-24" in summary.flags[0] and "suspect since 2026-01-24" in page
    assert (folder / "report" / "history.svg").exists() and "Check standard and history" in page


def test_two_copies_of_a_run_count_once_and_what_cannot_be_read_is_told(folder: Path) -> None:
    shutil.copy(folder / "3.record", folder / "copy.record")
    (folder / "torn.record").write_bytes(b"not a record")
    past = past_of(folder / "9.record", calibrate(folder / "9.record"))
    assert past.runs == 10 and [one.record for one in past.unread] == ["torn.record"]
    assert all(visit.r0_ohm is not None for visit in past.of("TR-IPRT-11"))


def test_disagreeing_certificates_are_flagged_before_there_are_limits(folder: Path) -> None:
    alone = folder / "alone"
    alone.mkdir()
    shutil.copy(folder / "9.record", alone / "9.record")
    (flag,) = [one for one in look(alone / "9.record").flags if _CHECK in one]
    assert "1 of at least 8 runs" in flag and "leave room for" in flag


def test_the_terminal_refuses_to_accept_in_silence(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    who = ["--who", "ks", "--name", "K. Sund"]
    assert main(["review", str(folder / "9.record"), "accept", *who]) == 2
    assert "--because" in capsys.readouterr().err


def test_a_night_without_a_check_standard_says_so(folder: Path) -> None:
    def without(entry: Entry) -> Iterable[tuple[str, Mapping[str, Any]]]:
        body = entry.body
        if entry.kind == Kind.OPENED:
            body = {**body, "plan": body["plan"].replace('role = "check_standard"', 'role = "item"')}
        yield entry.kind, body

    (folder / "alone").mkdir()
    record = told_again(folder / "9.record", folder / "alone" / "without.record", without)
    assert NO_CHECK_STANDARD in look(record).lines()
