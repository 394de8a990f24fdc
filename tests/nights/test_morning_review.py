"""The review: decisions are signed behind the closed record, originals stay, both fits are shown."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.fitting.exchange import plain_result
from daemon.journal.entry import Kind
from daemon.journal.journal import signed_journal
from daemon.journal.read import read_entries, verify
from daemon.journal.sinks import StorageFault
from daemon.program import fingerprint, program_version
from daemon.results.calibrate import calibrate
from daemon.results.report import write_report
from daemon.review.acts import accept, amend, exclude, put_back
from daemon.review.evidence import attach, kept_evidence
from daemon.review.morning import look
from daemon.review.recompute import difference, recompute
from daemon.review.sign import NotSigned, Signer
from daemon.review.state import read_review
from daemon.web.live_record import LiveRecord
from tests.nights.morning import EIGHT_OCLOCK, KEEPER, NINE_OCLOCK, morning_night
from tests.nights.report_nights import told_again

IPRT = "TR-IPRT-11"
CAUSE = "the lid was open, says the log book"


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return morning_night(tmp_path_factory.mktemp("morning") / "quick.record")


@pytest.fixture
def record(night: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(night, tmp_path / "night.record"))


def test_a_signed_decision_goes_into_the_same_chain(record: Path) -> None:
    before = verify(record)
    head = accept(record, EIGHT_OCLOCK, KEEPER)
    after = verify(record)
    assert after.intact and after.closed
    assert after.head == head != before.head
    assert after.closed_head == before.head == before.closed_head
    assert (after.entries, after.signed) == (before.entries + 1, 1)


def test_the_head_printed_at_the_end_of_the_run_still_proves_the_record(record: Path) -> None:
    printed = verify(record).head
    accept(record, EIGHT_OCLOCK, KEEPER)
    assert main(["verify", str(record), "--head", printed, "--chain-only"]) == 0


def test_an_excluded_point_keeps_its_value_and_its_cause(record: Path) -> None:
    before = calibrate(record).item(IPRT)
    exclude(record, EIGHT_OCLOCK, KEEPER, 2, IPRT, CAUSE)
    after, other = calibrate(record).item(IPRT), calibrate(record).item("TR-IPRT-14")
    assert after.points == before.points
    assert after.characteristic is not None and after.characteristic.fit is not None
    told = after.characteristic.fit.points[1].excluded_because
    assert told is not None and CAUSE in told and "K. Sund" in told and "2026-01-16 08:00" in told
    assert other.characteristic is not None and other.characteristic.fit is not None
    assert other.characteristic.fit.points[1].excluded_because is None


def test_both_fits_are_shown_after_an_exclusion(record: Path) -> None:
    exclude(record, EIGHT_OCLOCK, KEEPER, 2, IPRT, CAUSE)
    shown = " ".join(look(record).lines())
    assert "without the excluded points" in shown and "with them" in shown and CAUSE in shown


def test_leaving_out_a_point_hides_neither_the_shift_nor_the_scatter(record: Path) -> None:
    before = calibrate(record).item(IPRT)
    exclude(record, EIGHT_OCLOCK, KEEPER, 8, IPRT, CAUSE)
    after = calibrate(record).item(IPRT)
    assert (after.shift_mk, after.repeatability_mk) == (before.shift_mk, before.repeatability_mk)


def test_a_point_that_was_put_back_gives_the_first_result_again(record: Path) -> None:
    before = calibrate(record).item(IPRT).characteristic
    exclude(record, EIGHT_OCLOCK, KEEPER, 2, IPRT, CAUSE)
    put_back(record, NINE_OCLOCK, KEEPER, 2, IPRT, "it was another lid")
    after = calibrate(record).item(IPRT).characteristic
    assert before is not None and after is not None and after.theta == before.theta
    assert [entry.body["what"] for entry in read_review(record).history] == ["excluded", "put_back"]


@pytest.mark.parametrize(
    ("point", "serial", "cause", "words"),
    [
        (2, IPRT, "", "the cause is missing"),
        (2, IPRT, " … ", "the cause is missing"),
        (2, IPRT, "x" * 501, "at most 500"),
        (2, IPRT, "a\x00b", "plain text"),
        (9, IPRT, CAUSE, "point 9 was not measured"),
        (0, IPRT, CAUSE, "point 0 was not measured"),
        (2, "TR-X", CAUSE, "there is no thermometer 'TR-X'"),
    ],
)
def test_nothing_is_excluded_without_a_cause_or_a_point(
    record: Path, point: int, serial: str, cause: str, words: str
) -> None:
    before = verify(record).head
    with pytest.raises(NotSigned, match=words):
        exclude(record, EIGHT_OCLOCK, KEEPER, point, serial, cause)
    assert verify(record).head == before


def test_never_so_many_are_excluded_that_the_fit_cannot_be_tested(record: Path) -> None:
    with pytest.raises(NotSigned, match="too few points would be left"):
        for point in (1, 2, 4, 5, 6, 7, 8):
            exclude(record, EIGHT_OCLOCK, KEEPER, point, IPRT, CAUSE)
    fit = calibrate(record).item(IPRT).characteristic
    assert fit is not None and fit.degrees_of_freedom >= 1


def test_a_later_decision_undoes_the_acceptance(record: Path) -> None:
    accept(record, EIGHT_OCLOCK, KEEPER)
    with pytest.raises(NotSigned, match="were accepted by K"):
        accept(record, NINE_OCLOCK, KEEPER)
    amend(record, NINE_OCLOCK, KEEPER, IPRT, "customer's number 12 is 21", "misread")
    assert read_review(record).accepted is None
    accept(record, NINE_OCLOCK, KEEPER)
    assert len(read_review(record).acceptances) == 2


def test_a_run_that_is_not_closed_is_not_signed(night: Path, tmp_path: Path) -> None:
    def broken_off(entry):  # type: ignore[no-untyped-def]
        if entry.kind != Kind.CLOSED:
            yield entry.kind, entry.body

    open_record = told_again(night, tmp_path / "open.record", broken_off)
    with pytest.raises(NotSigned, match="not closed"):
        accept(open_record, EIGHT_OCLOCK, KEEPER)


@pytest.mark.parametrize(("who", "name"), [("", "K. Sund"), ("k s", "K. Sund"), ("ks", ""), ("ks", "…")])
def test_nobody_signs_without_id_and_name(who: str, name: str) -> None:
    with pytest.raises(NotSigned):
        Signer(who, name)


def test_what_was_accepted_comes_out_the_same_to_the_last_digit(record: Path) -> None:
    exclude(record, EIGHT_OCLOCK, KEEPER, 2, IPRT, CAUSE)
    accept(record, EIGHT_OCLOCK, KEEPER)
    put_back(record, NINE_OCLOCK, KEEPER, 2, IPRT, "it was another lid")
    accept(record, NINE_OCLOCK, KEEPER)
    first, second = recompute(record)
    assert first.same and second.same
    versions = [one.results[IPRT]["parameters"] for one in read_review(record).acceptances]
    assert versions[0] != versions[1]


def test_another_result_is_told_with_its_size(record: Path) -> None:
    now = calibrate(record).item(IPRT).characteristic
    assert now is not None
    then = plain_result(now)
    assert difference(then, now) == ""
    name = now.equation.parameters[0]
    then["parameters"] = {**then["parameters"], name: then["parameters"][name] + 0.0039}
    assert "13 mK apart" in difference(then, now)


def test_a_program_is_known_by_its_version_and_every_line_of_its_source(tmp_path: Path) -> None:
    def named(line: str) -> str:
        for part in ("daemon", "plans"):
            (tmp_path / part).mkdir(exist_ok=True)
            (tmp_path / part / "one.py").write_text(line, "utf-8")
        return fingerprint(tmp_path)

    assert named("a = 1") == named("a = 1") != named("a = 2")
    assert re.fullmatch(r".+, source [0-9a-f]{12}", program_version())


def test_verify_says_when_a_report_no_longer_fits_the_program(
    record: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = record.with_suffix(".report")
    write_report(record, folder)
    assert main(["verify", str(record)]) == 0
    assert "the same to the last digit" in capsys.readouterr().out
    path = folder / "coefficients.json"
    document = json.loads(path.read_text("utf-8"))
    document["thermometers"][0]["characteristic"]["parameters"]["R0"] += 0.0039
    path.write_text(json.dumps(document), "utf-8")
    assert main(["verify", str(record)]) == 1
    assert "OTHER RESULT" in capsys.readouterr().out
    path.write_text("{}", "utf-8")
    assert main(["verify", str(record)]) == 2


def test_the_page_shows_what_was_signed(record: Path) -> None:
    exclude(record, EIGHT_OCLOCK, KEEPER, 2, IPRT, CAUSE)
    accept(record, NINE_OCLOCK, KEEPER, "seen with W. Rossnes")
    write_report(record, record.parent / "report")
    page = (record.parent / "report" / "summary.html").read_text("utf-8")
    assert CAUSE in page and "Accepted by K. Sund" in page and "seen with W. Rossnes" in page


def test_a_review_does_not_make_the_night_longer(record: Path) -> None:
    from daemon.results.story import tell

    before = tell(record)
    accept(record, EIGHT_OCLOCK, KEEPER)
    assert tell(record).end_s == before.end_s


def test_the_live_page_of_a_signed_run_still_ends_where_the_run_ended(record: Path) -> None:
    before, after = LiveRecord(record), LiveRecord(record)
    while before.catch_up():
        pass
    accept(record, EIGHT_OCLOCK, KEEPER)
    while after.catch_up():
        pass
    assert after.seq == before.seq + 1
    assert (after.now_s, len(after.said), after.closed) == (before.now_s, len(before.said), True)


def test_evidence_is_known_by_its_hash(record: Path, tmp_path: Path) -> None:
    photo = tmp_path / "insulation test.txt"
    photo.write_text("R > 1 GΩ at 22 °C", "utf-8")
    attach(record, EIGHT_OCLOCK, KEEPER, photo, "insulation test before the run")
    (kept,) = kept_evidence(record)
    assert kept.problem == "" and kept.copy.read_bytes() == photo.read_bytes()
    with pytest.raises(NotSigned, match="attached to the record already"):
        attach(record, EIGHT_OCLOCK, KEEPER, photo, "again")
    kept.copy.write_text("R > 2 GΩ at 22 °C", "utf-8")
    assert "not the file that was signed" in kept_evidence(record)[0].problem
    kept.copy.unlink()
    assert "missing" in kept_evidence(record)[0].problem
    assert main(["evidence", str(record)]) == 1


def test_the_terminal_signs_and_shows(record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = [
        "exclude",
        "--point",
        "2",
        "--probe",
        IPRT,
        "--because",
        CAUSE,
        "--who",
        "ks",
        "--name",
        "K. Sund",
    ]
    assert main(["review", str(record), *words]) == 0
    assert CAUSE in capsys.readouterr().out
    assert main(["review", str(record), "--json"]) == 1  # the third point never came to rest
    assert json.loads(capsys.readouterr().out)["signed"]
    assert main(["review", str(record), "accept"]) == 2
    assert "cannot be used" in capsys.readouterr().err


def test_the_terminal_leads_to_the_page_and_says_when_it_is_old(
    record: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def told() -> str:
        main(["review", str(record)])
        return capsys.readouterr().out.splitlines()[-1]

    folder = record.with_suffix(".report")
    assert told() == f"page  not written yet: `ohmvigil report {record}`"
    write_report(record, folder)
    assert told() == f"page  {folder / 'summary.html'}"
    amend(record, EIGHT_OCLOCK, KEEPER, IPRT, "order number 12 is 21", "misread")
    assert told() == f"page  {folder / 'summary.html'}, older than the record: `ohmvigil report {record}`"


def test_the_raw_readings_stay_as_they_were(record: Path) -> None:
    before = [entry for entry in read_entries(record) if entry.kind == Kind.OBSERVATION]
    exclude(record, EIGHT_OCLOCK, KEEPER, 2, IPRT, CAUSE)
    assert [entry for entry in read_entries(record) if entry.kind == Kind.OBSERVATION] == before


def test_of_two_people_who_sign_at_once_one_is_told(record: Path) -> None:
    before = verify(record)
    slower = signed_journal(record, EIGHT_OCLOCK, before.entries, bytes.fromhex(before.head))
    head = accept(record, EIGHT_OCLOCK, KEEPER)
    slower.append(Kind.REVIEW, {"what": "accepted"})
    with pytest.raises(StorageFault):
        slower.close()
    after = verify(record)
    assert after.intact and after.head == head and after.signed == 1
