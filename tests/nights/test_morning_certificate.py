"""Certificates: never issued by the program, never of a simulated night, and they tell what happened."""

from __future__ import annotations

import io
import json
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pikepdf
import pytest
from pikepdf import Dictionary
from pypdf import PdfReader

from daemon.certified import certified
from daemon.cli import main
from daemon.fitting.fit import fit_characteristic
from daemon.fitting.table import two_digits
from daemon.journal.entry import Kind
from daemon.journal.read import read_entries
from daemon.results.certificate.draw import draw
from daemon.results.certificate.facts import DRAFT, Evaluated, NoCertificate, certifiable, evaluate, facts_of
from daemon.results.certificate.issue import authorise, draft, redraw, standing
from daemon.results.certificate.papers import NOT_NAMED, parse_papers
from daemon.results.certificate.rows import rounded
from daemon.results.certificate.typeset import TemplateError, typeset_pdf
from daemon.results.judgement import SIMULATED
from daemon.review.acts import accept, amend, exclude
from daemon.review.sign import sign
from daemon.review.state import read_review
from plans.errors import PlanError
from tests.nights.morning import (
    EIGHT_OCLOCK,
    KEEPER,
    NINE_OCLOCK,
    PAPERS,
    as_real,
    morning_night,
    papers,
    troubled_night,
    words_of,
)

IPRT, FILM, SEMI = "TR-IPRT-11", "TR-IPRT-14", "TR-SEMI-21"


@pytest.fixture(scope="module")
def simulated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return morning_night(tmp_path_factory.mktemp("certificates") / "quick.record")


@pytest.fixture(scope="module")
def told_as_real(simulated: Path) -> Path:
    return as_real(simulated, simulated.with_name("real.record"))


@pytest.fixture(scope="module")
def evaluated(told_as_real: Path) -> Evaluated:
    return evaluate(told_as_real)


@pytest.fixture(scope="module")
def trouble(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return troubled_night(tmp_path_factory.mktemp("trouble"))


@pytest.fixture
def record(told_as_real: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(told_as_real, tmp_path / "night.record"))


def test_a_simulated_night_carries_its_mark_on_every_page_and_cannot_be_authorised(simulated: Path) -> None:
    evaluated = evaluate(simulated)
    pdf = draft(evaluated, IPRT, papers(), None, None).drawn.pdf
    pages = PdfReader(io.BytesIO(pdf)).pages
    assert all(SIMULATED in page.extract_text() for page in pages)
    with pytest.raises(NoCertificate, match="SIMULATED"):
        authorise(simulated, EIGHT_OCLOCK, "wr", IPRT, papers())


def test_a_certificate_is_a_draft_until_a_signatory_authorises_it(record: Path) -> None:
    pages = PdfReader(io.BytesIO(draft(evaluate(record), IPRT, papers(), None, None).drawn.pdf)).pages
    assert all(DRAFT in page.extract_text() for page in pages)
    with pytest.raises(NoCertificate, match="not accepted"):
        authorise(record, EIGHT_OCLOCK, "wr", IPRT, papers())
    accept(record, EIGHT_OCLOCK, KEEPER)
    with pytest.raises(NoCertificate, match="may not authorise"):
        authorise(record, EIGHT_OCLOCK, "ks", IPRT, papers())
    issued = authorise(record, NINE_OCLOCK, "wr", IPRT, papers())
    words = words_of(issued.drawn.pdf)
    assert "DRAFT" not in words and "SIMULATED" not in words
    assert "Authorised by W. Rossnes, head of the bench, 2026-01-16 09:00 UTC" in words
    assert re.fullmatch(r"TRB-20260115-[0-9a-f]{8}-TR-IPRT-11", issued.stem)
    assert words.count(issued.stem) >= len(PdfReader(io.BytesIO(issued.drawn.pdf)).pages)
    assert f"End of calibration certificate {issued.stem}" in words


def test_an_authorised_certificate_can_be_drawn_again_byte_for_byte_and_nothing_else_takes_its_place(
    record: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    accept(record, EIGHT_OCLOCK, KEEPER)
    first = authorise(record, NINE_OCLOCK, "wr", IPRT, papers())
    again = ["certificate", str(record), "--probe", IPRT]
    assert main([*again, "--laboratory", str(PAPERS / "laboratory.toml")]) == 0
    issued = record.with_suffix(".certificates") / f"{first.stem}.pdf"
    assert issued.read_bytes() == first.drawn.pdf
    assert issued.with_suffix(".xml").read_bytes() == first.drawn.dcc
    assert main(again) == 1  # the logo was not given
    assert "NOT the bytes that were authorised" in capsys.readouterr().out
    assert issued.read_bytes() == first.drawn.pdf
    assert issued.with_stem(f"{first.stem}-NOT-AS-AUTHORISED").exists()


def test_a_certificate_is_not_issued_twice_and_its_successor_names_it(record: Path) -> None:
    accept(record, EIGHT_OCLOCK, KEEPER)
    first = authorise(record, EIGHT_OCLOCK, "wr", IPRT, papers())
    with pytest.raises(NoCertificate, match="nothing was decided since"):
        authorise(record, NINE_OCLOCK, "wr", IPRT, papers())
    amend(record, NINE_OCLOCK, KEEPER, IPRT, "the condition on receipt was 'cable bent'", "seen on the photo")
    assert standing(read_review(record), IPRT) is None
    accept(record, NINE_OCLOCK, KEEPER)
    second = authorise(record, NINE_OCLOCK, "wr", IPRT, papers())
    words = words_of(second.drawn.pdf)
    assert second.stem == f"{first.stem}-2"
    assert f"This certificate replaces certificate {first.stem}" in words
    assert "cable bent" in words and "seen on the photo" in words
    assert f"<dcc:replacedUniqueIdentifier>{first.stem}<" in second.drawn.dcc.decode()
    assert redraw(record, read_review(record).issues[0], PAPERS, None).drawn.pdf == first.drawn.pdf


def test_what_this_program_does_not_find_is_not_issued_until_it_is_accepted_again(record: Path) -> None:
    accept(record, EIGHT_OCLOCK, KEEPER)
    accepted = read_review(record).accepted
    assert accepted is not None
    results = json.loads(json.dumps(accepted.results))
    results[IPRT]["parameters"]["R0"] += 0.0039
    found_before = {"what": "accepted", "remark": "", "program": "an older one", "results": results}
    sign(record, EIGHT_OCLOCK, KEEPER, found_before)
    with pytest.raises(NoCertificate, match=r"does not find what was accepted \(up to 13 mK apart.*an older"):
        authorise(record, NINE_OCLOCK, "wr", IPRT, papers())
    accept(record, NINE_OCLOCK, KEEPER)
    words = words_of(authorise(record, NINE_OCLOCK, "wr", IPRT, papers()).drawn.pdf)
    assert f"{accepted.program} (evaluation)" in words


def test_trouble_is_told_exactly(trouble: Path, tmp_path: Path) -> None:
    record = Path(shutil.copy(trouble, tmp_path / "night.record"))
    exclude(record, EIGHT_OCLOCK, KEEPER, 2, IPRT, "the lid was open")
    amend(record, EIGHT_OCLOCK, KEEPER, IPRT, "order number 12 is 21", "misread")
    accept(record, EIGHT_OCLOCK, KEEPER)
    evaluated = evaluate(record)
    assert certifiable(evaluated.night) == [IPRT, SEMI]
    with pytest.raises(NoCertificate, match="no certificate without a result"):
        draft(evaluated, FILM, papers(), None, None)
    issued = authorise(record, NINE_OCLOCK, "wr", IPRT, papers())
    words = words_of(issued.drawn.pdf)
    for told in (
        "nobody looked at the source for 5 min",
        "guard item_fault: another thermometer",
        "Point 2 (20.0",
        "is not in the fit: the lid was open (K. Sund, 2026-01-16 08:00 UTC)",
        "would differ by at most",
        "Point 3: 45 °C, never at rest: no equilibrium within its longest wait; it is kept but not used",
        "order number 12 is 21. Reason: misread",
    ):
        assert told in words, told
    assert FILM not in words  # other customers' thermometers are not named
    assert b"the lid was open" in issued.drawn.dcc and FILM.encode() not in issued.drawn.dcc


def test_the_command_says_which_thermometer_gets_no_certificate(
    trouble: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = Path(shutil.copy(trouble, tmp_path / "troubled.record"))
    assert main(["certificate", str(record), "--laboratory", str(PAPERS / "laboratory.toml")]) == 1
    assert f"{FILM}: no certificate without a result" in capsys.readouterr().out
    assert {path.name for path in (tmp_path / "troubled.certificates").iterdir()} == {
        f"DRAFT-{serial}.{kind}" for serial in (IPRT, SEMI) for kind in ("pdf", "xml")
    }


def test_what_the_standard_asks_for_stands_on_it(record: Path) -> None:
    accept(record, EIGHT_OCLOCK, KEEPER)
    words = words_of(authorise(record, NINE_OCLOCK, "wr", IPRT, papers()).drawn.pdf)
    for wanted in (
        "Calibration certificate",
        "Tern Rock Thermometry Bench",
        "Harbour Office of Tern Rock",
        "serial number TR-IPRT-11",
        "Received 2026-01-12",
        "clean and dry",
        "Calibrated 2026-01-15",
        "Place Tern Rock bath bench, Tern Rock",
        "Issued 2026-01-16",
        "relate only to the thermometer",
        "Deviations from the method: none",
        "Traceability",
        "International Temperature Scale of 1990",
        "stirred bath",
        "Immersion 300 mm",
        "measuring current 1 mA",
        "before the points (as found)",
        "after the points (as left)",
        "Hysteresis",
        "does not include drift after the calibration",
        "Room 22 °C ± 2 °C",
        "page 1 of",
        "Class IEC 60751 B: PASS",
        "Decision rule, agreed on 2026-01-10 before the work: guard band",
    ):
        assert wanted in words, wanted


def test_the_room_is_stated_as_it_was_measured(evaluated: Evaluated) -> None:
    room_c = [
        entry.body["readings"]["temperature"]["value"]
        for entry in read_entries(evaluated.record, frozenset({Kind.OBSERVATION}))
        if entry.body["what"] == "monitored" and entry.body["role"] == "ambient"
    ]
    drawn = draft(evaluated, IPRT, papers(), None, None).drawn
    measured = (
        f"Measured in the room during the run: temperature {min(room_c):.2f} °C to {max(room_c):.2f} °C"
    )
    assert measured in words_of(drawn.pdf) and measured in drawn.dcc.decode()


def test_no_hyphen_stands_for_a_minus(evaluated: Evaluated) -> None:
    words = words_of(draft(evaluated, FILM, papers(), None, None).drawn.pdf)
    assert "−" in words
    assert re.findall(r"(?<![\w.–-])-\d", words) == []


def test_a_value_is_rounded_to_the_last_place_of_its_uncertainty() -> None:
    assert rounded(100.012345, 0.00234) == "100.0123"
    assert rounded(-0.00004, 0.0023) == "0.0000"
    assert rounded(99.99996, 0.012) == "100.000"
    assert rounded(1234.5, 12.3) == "1234" or rounded(1234.5, 12.3) == "1235"


def test_no_uncertainty_below_the_laboratorys_smallest_is_stated(evaluated: Evaluated) -> None:
    least = (PAPERS / "laboratory.toml").read_text("utf-8").replace("= 5.0 ", "= 50.0 ")
    facts = facts_of(evaluated, IPRT, parse_papers(least, "", PAPERS), None)
    assert {row.expanded_mk for row in facts.points} == {"50"} == {line.expanded_mk for line in facts.table}
    usual = facts_of(evaluated, IPRT, NOT_NAMED, None)
    largest = max(budget.expanded_mk for budget in usual.item.budgets)
    assert max(float(row.expanded_mk) for row in usual.points) == float(two_digits(largest))


def test_the_table_ends_inside_the_calibrated_range(evaluated: Evaluated) -> None:
    facts = facts_of(evaluated, IPRT, NOT_NAMED, None)
    low, high = facts.characteristic.range_c
    assert low <= float(facts.table[0].temperature_c) < low + 1e-3
    assert high - 1e-3 < float(facts.table[-1].temperature_c) <= high
    assert len(facts.table) <= 46


def test_a_caption_stands_on_the_page_of_its_table_and_a_long_table_begins_a_page(
    evaluated: Evaluated,
) -> None:
    finely = draft(evaluated, IPRT, NOT_NAMED, None, 1.0).drawn
    read = PdfReader(io.BytesIO(finely.pdf)).pages
    pages = [page.extract_text().replace("\u00a0", " ") for page in read]
    (long,) = [page for page in pages if "Table 3:" in page]
    assert long.count("0.0023") > 40
    (points,) = [page for page in pages if "Table 1:" in page]
    assert points.count("from below") + points.count("from above") >= 7
    assert "–" not in pages[0].split("Construction")[0]  # nothing stands for what nobody wrote down


def test_a_glyph_that_no_font_has_does_not_stop_the_morning(evaluated: Evaluated) -> None:
    order = '[customer]\nname = "灯台 Kontor"\ncity = "Tern Rock"\n'
    drawn = draw(facts_of(evaluated, IPRT, papers(order), None))
    words = words_of(drawn.pdf)
    assert drawn.replaced == ("灯", "台")
    assert "▯▯ Kontor" in words and "U+706F" in words
    assert "灯台 Kontor" in drawn.dcc.decode()  # the digital certificate knows every letter


def test_what_people_type_stays_text(evaluated: Evaluated) -> None:
    order = '[customer]\nname = "#read(\\"main.typ\\") $x$ *bold* <a> \\\\ end"\ncity = "Tern Rock"\n'
    words = words_of(draw(facts_of(evaluated, IPRT, papers(order), None)).pdf)
    assert '#read("main.typ") $x$ *bold* <a> \\ end' in words


def test_the_page_is_a_pdf_a_3_by_its_structure(evaluated: Evaluated) -> None:
    """By another library than the typesetter's, clause by clause of ISO 19005-3; no validator confirms it."""
    drawn = draft(evaluated, IPRT, papers(), None, None).drawn
    with pikepdf.open(io.BytesIO(drawn.pdf)) as pdf:
        assert pdf.check_pdf_syntax() == []
        assert not pdf.is_encrypted and "/ID" in pdf.trailer  # 6.1.3
        assert pdf.open_metadata().pdfa_status == "3B"  # 6.6.4
        (intent,) = pdf.Root.OutputIntents  # 6.2.3
        assert intent.S == "/GTS_PDFA1" and intent.DestOutputProfile.read_bytes()[36:40] == b"acsp"
        (file,) = pdf.Root.AF  # 6.8
        assert (file.AFRelationship, str(file.UF), str(file.F)) == ("/Data", "dcc.xml", "dcc.xml")
        assert file.EF.F.Subtype == "/application/xml" and file.EF.F.read_bytes() == drawn.dcc
        assert "/ModDate" in file.EF.F.Params
        forbidden = ("/JavaScript", "/JS", "/Launch", "/Movie", "/Sound", "/LZWDecode", "/XFA")  # 6.5, 6.6
        seen = " ".join(repr(one) for one in pdf.objects)
        assert [word for word in forbidden if word in seen] == []


def test_every_font_is_embedded(evaluated: Evaluated) -> None:
    drawn = draft(evaluated, IPRT, papers(), None, None).drawn
    with pikepdf.open(io.BytesIO(drawn.pdf)) as pdf:
        described = [
            one
            for one in pdf.objects
            if isinstance(one, Dictionary) and one.get("/Type") == "/FontDescriptor"
        ]
        assert described and all({"/FontFile2", "/FontFile3"} & set(one.keys()) for one in described)
        fonts = [one for one in pdf.objects if isinstance(one, Dictionary) and one.get("/Type") == "/Font"]
        simple = [one for one in fonts if one.Subtype not in ("/Type0", "/Type3")]
        assert all("/FontDescriptor" in one for one in simple)


def test_pdfdetach_takes_the_same_bytes_out(evaluated: Evaluated, tmp_path: Path) -> None:
    tool = shutil.which("pdfdetach")
    if tool is None:
        pytest.skip("pdfdetach (poppler-utils) is not installed here")
    drawn = draft(evaluated, IPRT, papers(), None, None).drawn
    (tmp_path / "c.pdf").write_bytes(drawn.pdf)
    subprocess.run([tool, "-save", "1", "-o", "dcc.xml", "c.pdf"], cwd=tmp_path, check=True)
    assert (tmp_path / "dcc.xml").read_bytes() == drawn.dcc


def test_a_laboratory_may_bring_its_own_template(tmp_path: Path, evaluated: Evaluated) -> None:
    own = b"""#let d = json(bytes(sys.inputs.data))
#set document(title: "own", date: datetime(year: d.date.at(0), month: d.date.at(1), day: d.date.at(2)))
#d.mark \\ Our own sheet for #d.facts.at(1).at(1)"""
    for name in ("laboratory.toml", "logo.svg"):
        shutil.copy(PAPERS / name, tmp_path / name)
    text = (tmp_path / "laboratory.toml").read_text("utf-8").replace("# template", "template")
    (tmp_path / "own.typ").write_bytes(own)
    drawn = draw(facts_of(evaluated, IPRT, parse_papers(text, "", tmp_path), None))
    assert "Our own sheet for serial number TR-IPRT-11" in words_of(drawn.pdf)


def test_a_broken_template_is_a_sentence() -> None:
    with pytest.raises(TemplateError, match="unknown variable"):
        typeset_pdf(b"#nothing", {}, {})


@pytest.mark.parametrize(
    ("order", "words"),
    [
        ('[customer]\nname = "A"\n', "city"),
        ('[customer]\nname = "A"\ncity = "B"\ncolour = "red"\n', "unknown key"),
        (
            '[customer]\nname = "A"\ncity = "B"\n[[items]]\nserial = "X"\ntolerance_class = "IEC 60751 B"\n',
            "rule",
        ),
        ("nothing", "not valid TOML"),
    ],
)
def test_papers_with_mistakes_are_refused_in_sentences(order: str, words: str) -> None:
    with pytest.raises(PlanError, match=words):
        papers(order)


def test_a_decision_rule_agreed_after_the_work_gives_no_statement(evaluated: Evaluated) -> None:
    late = (PAPERS / "order.toml").read_text("utf-8").replace("2026-01-10", "2026-02-10")
    with pytest.raises(NoCertificate, match="a rule is agreed before the work"):
        facts_of(evaluated, IPRT, papers(late), None)


def test_every_form_of_equation_can_be_set(evaluated: Evaluated) -> None:
    facts = facts_of(evaluated, SEMI, papers(), None)
    fit = facts.characteristic.fit
    assert fit is not None
    joined = certified(evaluated.night.run.reference.calibration)
    polynomial = fit_characteristic(fit.points, "polynomial", fit.components)
    for form, told in ((joined, "joined at W = 1"), (polynomial, "reference function of IEC 60751")):
        words = words_of(draw(replace(facts, characteristic=form)).pdf)
        assert told in words
