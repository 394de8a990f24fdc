"""The digital certificate: valid by the published schema, and stricter than it where that looks away."""

from __future__ import annotations

import dataclasses
import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lxml import etree

from daemon.cli import main
from daemon.fitting.printing import printed_coefficients
from daemon.results.calibrate import calibrate
from daemon.results.certificate.facts import Evaluated, evaluate, facts_of
from daemon.results.certificate.issue import authorise, standing
from daemon.results.dcc.document import dcc_xml
from daemon.results.dcc.quantity import DccError, Expanded, Quantity
from daemon.results.dcc.read import characteristic_from_dcc
from daemon.results.dcc.tree import NAMES, parse, validate
from daemon.results.dcc.units import unit_problem
from daemon.results.immersion import Immersion
from daemon.results.self_heating import SelfHeating
from daemon.review.acts import accept, exclude
from daemon.review.state import read_review
from tests.nights.morning import EIGHT_OCLOCK, KEEPER, SCHEMAS, as_real, morning_night, papers

IPRT, FILM, SEMI = "TR-IPRT-11", "TR-IPRT-14", "TR-SEMI-21"
needs_schema = pytest.mark.skipif(
    not (SCHEMAS / "dcc-3.2.1.xsd").is_file(),
    reason="the schema files are other people's work and not part of this repository; none found beside it",
)


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("dcc")
    return as_real(morning_night(folder / "quick.record"), folder / "real.record")


@pytest.fixture(scope="module")
def evaluated(night: Path) -> Evaluated:
    return evaluate(night)


@pytest.fixture(scope="module")
def issued(night: Path) -> Path:
    """An authorised certificate's XML, one point excluded."""
    record = Path(shutil.copy(night, night.with_name("issued.record")))
    exclude(record, EIGHT_OCLOCK, KEEPER, 2, IPRT, "the lid was open")
    accept(record, EIGHT_OCLOCK, KEEPER)
    path = record.with_suffix(".xml")
    path.write_bytes(authorise(record, EIGHT_OCLOCK, "wr", IPRT, papers()).drawn.dcc)
    return path


@needs_schema
@pytest.mark.parametrize("serial", [IPRT, FILM, SEMI])
def test_a_draft_is_valid(evaluated: Evaluated, serial: str) -> None:
    dcc_xml(facts_of(evaluated, serial, papers(), None), SCHEMAS)


def behaving(evaluated: Evaluated) -> etree._Element:
    """The industrial thermometer's draft, with self-heating and stem conduction as a run may find them."""
    facts = facts_of(evaluated, IPRT, papers(), None)
    heating = SelfHeating(50.02, 1.0, 0.5, 3.21, 0.21, 119.404123, 0.00011)
    stem = Immersion(60.0, 120.0, 20.0, (-1.0, -2.5, -4.75), 0.1, -2.0, 0.31)
    item = dataclasses.replace(facts.item, self_heating=(heating,), immersion=(stem,), annealing_mk=-4.2)
    data = dcc_xml(dataclasses.replace(facts, item=item))
    if (SCHEMAS / "dcc-3.2.1.xsd").is_file():
        validate(data, SCHEMAS)
    return parse(data)


def column(root: etree._Element, ref_type: str) -> list[float]:
    """The values of a quantity, one number or a list."""
    (found,) = root.findall(f".//dcc:quantity[@refType='{ref_type}']", NAMES)
    told = found.findtext(".//si:valueXMLList", None, NAMES) or found.findtext(".//si:value", "", NAMES)
    return [float(word) for word in told.split()]


def test_how_the_thermometer_behaved_stands_in_it_with_its_uncertainty(evaluated: Evaluated) -> None:
    root, item = behaving(evaluated), evaluated.night.item(IPRT)
    assert column(root, "ohmvigil_selfHeating") == [3.21] and column(root, "ohmvigil_zeroPower") == [
        119.40412
    ]
    assert column(root, "ohmvigil_stemConduction") == [-2.0] and column(root, "ohmvigil_depth") == [120.0]
    assert column(root, "ohmvigil_hysteresis") == pytest.approx(
        [one.half_difference_mk for one in item.hysteresis], abs=0.05
    )
    assert column(root, "ohmvigil_shift") == pytest.approx([item.shift_mk], abs=0.05)
    before, after = root.findall(".//dcc:quantity[@refType='ohmvigil_r0']", NAMES)
    assert before.find(".//si:expandedUnc/si:coverageFactor", NAMES) is not None
    assert "after annealing" in str(before.findtext("dcc:name/dcc:content", "", NAMES))
    assert float(after.findtext(".//si:value", "", NAMES)) == pytest.approx(item.r0_after_ohm, abs=2e-3)
    slopes = column(root, "ohmvigil_sensitivity")
    assert slopes and all(0.37 < slope < 0.4 for slope in slopes)


def test_what_was_not_measured_is_not_stated(evaluated: Evaluated) -> None:
    root = parse(dcc_xml(facts_of(evaluated, IPRT, papers(), None)))
    kinds = {one.get("refType") for one in root.iter("{*}quantity")}
    assert not kinds & {"ohmvigil_selfHeating", "ohmvigil_stemConduction", "ohmvigil_annealing"}


@needs_schema
def test_an_authorised_one_is_valid(issued: Path) -> None:
    validate(issued.read_bytes(), SCHEMAS)


@needs_schema
def test_a_broken_one_is_not(issued: Path) -> None:
    broken = issued.read_bytes().replace(
        b"<dcc:beginPerformanceDate>2026", b"<dcc:beginPerformanceDate>in 2026"
    )
    with pytest.raises(DccError, match="not valid by the DCC schema"):
        validate(broken, SCHEMAS)


def test_a_folder_without_the_schema_is_named(issued: Path, tmp_path: Path) -> None:
    with pytest.raises(DccError, match=r"dcc-3\.2\.1\.xsd"):
        validate(issued.read_bytes(), tmp_path)


@needs_schema
def test_the_schema_itself_lets_a_banana_pass_but_we_do_not(issued: Path) -> None:
    banana = issued.read_bytes().replace(rb"\milli\kelvin", b"banana")
    validate(banana, SCHEMAS)
    with pytest.raises(DccError, match="banana"):
        Quantity("U", "x", "banana", ("1",))


@pytest.mark.parametrize(
    "unit", [r"\ohm", r"\milli\kelvin", r"\degreecelsius\tothe{-2}", r"\metre\per\second\tothe{2}", r"\one"]
)
def test_units_that_are_units(unit: str) -> None:
    assert unit_problem(unit) == ""


@pytest.mark.parametrize(
    "unit",
    ["", "banana", r"\banana", "ohm", r"\milli", r"\milli\micro\ohm", r"\tothe{2}", r"\ohm\per", r"\per\ohm",
     r"\ohm\tothe", r"\metre\per\second\per\second", r"\ohm{2}", r"\milli\tothe{2}", r"\ohm \kelvin"],
)  # fmt: skip
def test_units_that_are_none(unit: str) -> None:
    assert unit_problem(unit) != ""


@pytest.mark.parametrize(
    ("values", "expanded", "words"),
    [
        (("1", "2", "3"), Expanded(("0.1", "0.1"), ("2", "2", "2")), "2 uncertainties for 3 values"),
        (("1", "2"), Expanded(("0.1", "0.1"), ("2",)), "1 coverage factors for 2 values"),
        (("1",), Expanded(("0.1",), ("2",), "0.10"), "does not belong"),
        (("1",), Expanded(("0.1",), ("1.0",)), "does not belong"),
        (("1",), Expanded(("0.1",), ("99",)), "does not belong"),
        (("1",), Expanded(("-0.1",), ("2",)), "is not an uncertainty"),
        (("1",), Expanded(("0.1",), ("2",), "1.95"), "not between 0 and 1"),
        (("nan",), None, "is not a decimal number"),
        (("1,5",), None, "is not a decimal number"),
        ((), None, "has no value"),
    ],
)
def test_numbers_that_do_not_fit_together(
    values: tuple[str, ...], expanded: Expanded | None, words: str
) -> None:
    if words == "does not belong" and expanded is not None and expanded.probability == "0.10":
        expanded = dataclasses.replace(expanded, probability="0.999999")
        expanded = dataclasses.replace(expanded, factors=("1.2",))
    with pytest.raises(DccError, match=words):
        Quantity("R", "x", r"\ohm", values, expanded)


@pytest.mark.parametrize("factor", ["1.65", "1.96", "2", "2.87", "12.7"])
def test_coverage_factors_that_occur_at_95_per_cent(factor: str) -> None:
    Quantity("R", "x", r"\ohm", ("1",), Expanded(("0.1",), (factor,)))


def test_page_and_digital_certificate_state_the_same_numbers(issued: Path) -> None:
    root = parse(issued.read_bytes())
    lists = root.findall(".//si:valueXMLList", NAMES)
    lengths = {len(one.text.split()) for one in lists if one.text}
    assert lengths  # every list is as long as its neighbours: checked while it was written
    names = [one.text for one in root.findall(".//dcc:result/dcc:name/dcc:content", NAMES)]
    assert "Points measured but not used in the characteristic" in names


@pytest.mark.parametrize("serial", [IPRT, FILM, SEMI])
def test_the_characteristic_comes_back(issued: Path, serial: str) -> None:
    record = issued.with_suffix(".record")
    fitted = calibrate(record).item(serial).characteristic
    path = issued.with_name(f"{serial}.xml")
    if standing(read_review(record), serial) is None:
        path.write_bytes(authorise(record, EIGHT_OCLOCK, "wr", serial, papers()).drawn.dcc)
    else:
        path.write_bytes(issued.read_bytes())
    found = characteristic_from_dcc(path)
    assert fitted is not None and found.equation.to_dict() == fitted.equation.to_dict()
    where = np.linspace(*found.range_c, 21)
    apart_mk = 1e3 * (found.resistance_ohm(where) - fitted.resistance_ohm(where)) / 0.39
    assert np.abs(apart_mk).max() < 0.15  # what printing the coefficients may cost
    ratio = found.standard_uncertainty_k(where) / fitted.standard_uncertainty_k(where)
    assert ratio == pytest.approx(1.0, abs=0.03)


def test_a_history_is_held_against_the_digital_certificate(
    issued: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copy(issued.with_suffix(".record"), tmp_path / "night.record")
    at = ["--records", str(tmp_path), "--dcc", str(issued)]
    assert main(["history", IPRT, *at]) == 0
    assert "up to 0.0 mK from its certificate" in capsys.readouterr().out
    assert main(["history", SEMI, *at]) == 2
    assert f"the certificate of {IPRT}, not of {SEMI}" in capsys.readouterr().err


def test_a_draft_is_not_taken_for_a_reference(evaluated: Evaluated, tmp_path: Path) -> None:
    path = tmp_path / "draft.xml"
    path.write_bytes(dcc_xml(facts_of(evaluated, IPRT, papers(), None)))
    with pytest.raises(DccError, match="no certificate"):
        characteristic_from_dcc(path)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "no xml",
        "<a/>",
        '<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/hostname">]><a>&x;</a>',
        '<d:digitalCalibrationCertificate xmlns:d="https://ptb.de/dcc" schemaVersion="3.3.0"/>',
        '<d:digitalCalibrationCertificate xmlns:d="https://ptb.de/dcc" schemaVersion="3.2.1"/>',
    ],
)
def test_what_is_no_certificate_is_refused_in_a_sentence(text: str, tmp_path: Path) -> None:
    path = tmp_path / "some.xml"
    path.write_text(text, "utf-8")
    with pytest.raises(DccError):
        characteristic_from_dcc(path)
    with pytest.raises(DccError, match="no such file or directory; name the XML"):
        characteristic_from_dcc(tmp_path / "nothing.xml")


def test_hand_collected_readings_can_use_a_digital_certificate(
    issued: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    reference = characteristic_from_dcc(issued)
    lines = ["reference_ohm,resistance_ohm"]
    for t in (1.0, 15.0, 30.0, 45.0, 59.0):
        lines.append(
            f"{float(reference.resistance_ohm(t)):.6f},{100 * (1 + 3.9083e-3 * t - 5.775e-7 * t * t):.6f}"
        )
    path = tmp_path / "readings.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    words = ["--kind", "iprt", "--scatter-ohm", "0.0001", "--reference-dcc", str(issued)]
    assert main(["fit", str(path), *words]) == 0, capsys.readouterr()
    assert "100.00" in capsys.readouterr().out


def test_no_address_is_ever_asked(issued: Path) -> None:
    text = issued.read_bytes()
    assert b"schemaLocation" not in text
    assert etree.fromstring(text).get("schemaVersion") == "3.2.1"


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    place=st.floats(0.0, 0.999),
    new=st.sampled_from(["", "9", "-", "e", "nan", "<", "0 ", "\\\\", "1e999", "1e99", "e9 "]),
)
def test_a_damaged_certificate_is_read_right_or_refused(
    issued: Path, tmp_path: Path, place: float, new: str
) -> None:
    data = issued.read_bytes()
    where = int(place * len(data))
    path = tmp_path / "damaged.xml"
    path.write_bytes(data[:where] + new.encode() + data[where + 1 :])
    try:
        found = characteristic_from_dcc(path)
    except DccError:
        return
    assert np.isfinite(found.resistance_ohm(np.array(found.range_c))).all()


def test_letters_that_xml_cannot_hold_do_not_stop_the_morning(evaluated: Evaluated) -> None:
    odd = '[customer]\nname = "A \uffff B"\ncity = "C"\n'
    root = parse(dcc_xml(facts_of(evaluated, IPRT, papers(odd), None)))
    assert root.findtext(".//dcc:customer/dcc:name/dcc:content", namespaces=NAMES) == "A \ufffd B"


def test_a_wrong_digit_in_a_coefficient_shows_against_the_table(issued: Path, tmp_path: Path) -> None:
    text = issued.read_text("utf-8")
    found = characteristic_from_dcc(issued)
    printed = next(c.printed for c in printed_coefficients(found) if c.name == "R0")
    wrong = f"{float(printed) + 0.001:.5f}"
    assert text.count(f">{printed}<") == 1
    path = tmp_path / "wrong.xml"
    path.write_text(text.replace(f">{printed}<", f">{wrong}<"), "utf-8")
    with pytest.raises(DccError, match="its coefficients are"):
        characteristic_from_dcc(path)
