"""The report folder: honest for every kind of night, the same bytes for the same record."""

from __future__ import annotations

import csv
import json
import sqlite3
import subprocess
import sys
from collections.abc import Iterable, Mapping
from contextlib import closing
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from daemon.fitting.exchange import from_dict
from daemon.journal.entry import Entry, Kind
from daemon.journal.read import verify
from daemon.results.calibrate import calibrate
from daemon.results.judgement import SIMULATED
from daemon.results.report import ReportSummary, write_report
from tests.nights.rehearsed import rehearsed
from tests.nights.report_nights import quick_night, told_again

ROOT = Path(__file__).resolve().parents[2]
Told = Iterable[tuple[str, Mapping[str, Any]]]


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return quick_night(tmp_path_factory.mktemp("quick") / "quick.record")


@pytest.fixture(scope="module")
def folder(record: Path) -> Path:
    return record.parent / "report"


@pytest.fixture(scope="module")
def summary(record: Path, folder: Path) -> ReportSummary:
    return write_report(record, folder)


def page(folder: Path) -> str:
    """The page's text without its markup."""
    reader = _Words()
    reader.feed((folder / "summary.html").read_text(encoding="utf-8"))
    return " ".join(" ".join(reader.words).replace("\u00a0", " ").split())


class _Words(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.addresses: list[str] = []
        self.ids: list[str] = []

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.addresses += [v for k, v in given.items() if v and k in ("href", "src", "xlink:href")]
        self.ids += [v for k, v in given.items() if v and k == "id"]


def test_every_file_promised_is_there(summary: ReportSummary, folder: Path) -> None:
    serials = ("TR-IPRT-11", "TR-IPRT-14")
    wanted = {"summary.html", "coefficients.json", "readings.csv", "night.svg", "night.png"}
    wanted |= {f"table-{serial}.csv" for serial in serials}
    drawn = [f"{what}-{serial}" for what in ("residuals", "range") for serial in serials]
    wanted |= {f"{one}.{kind}" for one in drawn for kind in ("svg", "png")}
    assert {path.name for path in summary.paths} == wanted == {path.name for path in folder.iterdir()}


def test_the_same_record_gives_the_same_bytes(summary: ReportSummary, record: Path, tmp_path: Path) -> None:
    again = write_report(record, tmp_path / "again")
    for path, other in zip(summary.paths, again.paths, strict=True):
        assert path.read_bytes() == other.read_bytes(), path.name


def test_coefficients_come_back_as_they_were_fitted(
    summary: ReportSummary, record: Path, folder: Path
) -> None:
    document = json.loads((folder / "coefficients.json").read_text(encoding="utf-8"))
    for told, item in zip(document["thermometers"], calibrate(record).items, strict=True):
        assert item.characteristic is not None
        assert from_dict(told["characteristic"]).theta == item.characteristic.theta
        assert told["covariance"] == item.characteristic.covariance.tolist()
        assert told["r0_shift_mk"] == item.shift_mk


def test_the_report_names_the_record_it_comes_from(
    summary: ReportSummary, record: Path, folder: Path
) -> None:
    checked = verify(record)
    facts = json.loads((folder / "coefficients.json").read_text(encoding="utf-8"))["record"]
    assert (facts["head"], facts["entries"], facts["intact"]) == (checked.head, checked.entries, True)
    assert checked.head in page(folder)


def test_an_unsettled_point_is_shown_and_not_used(summary: ReportSummary, folder: Path) -> None:
    assert any("3: 45 °C" in flag and "no equilibrium" in flag for flag in summary.flags)
    assert "5 of 6" in page(folder)
    assert "with the excluded points" in page(folder)
    rows = list(csv.DictReader((folder / "readings.csv").read_text(encoding="utf-8").splitlines()))
    excluded = {row["point"]: row["excluded_because"] for row in rows if row["serial"] == "TR-IPRT-11"}
    assert [point for point, cause in excluded.items() if cause] == ["3"]
    assert not summary.good


def test_residuals_are_what_the_characteristic_makes_of_the_readings(
    summary: ReportSummary, folder: Path, record: Path
) -> None:
    document = json.loads((folder / "coefficients.json").read_text(encoding="utf-8"))
    for told, item in zip(document["thermometers"], calibrate(record).items, strict=True):
        assert item.characteristic is not None
        used = [point["residual_mk"] for point in told["points"] if not point["excluded_because"]]
        assert used == pytest.approx(item.characteristic.residuals_mk, abs=1e-5)


def test_a_table_has_at_most_two_hundred_rows(summary: ReportSummary, folder: Path) -> None:
    for path in folder.glob("table-*.csv"):
        assert 50 < len(path.read_text(encoding="utf-8").splitlines()) <= 201


def test_a_simulated_night_can_not_be_taken_for_a_calibration(summary: ReportSummary, folder: Path) -> None:
    assert page(folder).count(SIMULATED) >= 4
    assert summary.lines()[0] == SIMULATED
    assert (
        json.loads((folder / "coefficients.json").read_text(encoding="utf-8"))["record"]["mark"] == SIMULATED
    )


def test_a_real_night_does_not_carry_the_mark(record: Path, tmp_path: Path) -> None:
    def real(entry: Entry) -> Told:
        body = entry.body
        yield entry.kind, {**body, "simulated": False, "seed": None} if entry.kind == Kind.OPENED else body

    summary = write_report(told_again(record, tmp_path / "real.record", real), tmp_path / "report")
    assert "SIMULATED" not in page(tmp_path / "report")
    assert not summary.simulated


def test_the_page_needs_no_network_and_no_program(summary: ReportSummary, folder: Path) -> None:
    text = (folder / "summary.html").read_text(encoding="utf-8")
    reader = _Words()
    reader.feed(text)
    assert all(address.startswith("#") for address in reader.addresses)
    assert "<script" not in text and "@import" not in text and "url(http" not in text
    assert len(reader.ids) == len(set(reader.ids))
    assert {address[1:] for address in reader.addresses} <= set(reader.ids)


def test_what_people_type_into_a_plan_stays_text(summary: ReportSummary, folder: Path) -> None:
    assert "<five>" not in (folder / "summary.html").read_text(encoding="utf-8")
    assert "Tern Rock, <five> quick & plain points" in page(folder)
    assert "never at rest, $x_{" in page(folder)


def test_the_cautions_stand_on_the_page(summary: ReportSummary, folder: Path) -> None:
    words = page(folder)
    for sentence in ("hot look cold", "not a safety system", "licensed people", "Last measured"):
        assert sentence in words


def test_a_halted_night_without_a_point_is_an_honest_page(tmp_path: Path) -> None:
    night = rehearsed("short.toml", tmp_path / "halted.record", "panel-set-point@0:20=180")
    summary = write_report(night.record, tmp_path / "report")
    words = page(tmp_path / "report")
    assert summary.verdict.startswith("Halted: 0 of 3 points measured, 0 of 2 thermometers")
    assert "set_point_readback" in summary.why and "180.00 °C" in summary.why
    assert "No point was finished" in words and summary.why in words
    assert not summary.good


def test_one_broken_thermometer_leaves_the_others_their_results(tmp_path: Path) -> None:
    quick_night(tmp_path / "night.record", "open-lead@1:10=3")
    summary = write_report(tmp_path / "night.record", tmp_path / "report")
    lines = {line.split(":")[0]: line for line in summary.item_lines}
    assert "no characteristic" in lines["TR-IPRT-14"]
    assert "U up to" in lines["TR-IPRT-11"]
    assert not (tmp_path / "report" / "residuals-TR-IPRT-14.svg").exists()
    assert any("item_fault" in flag for flag in summary.flags)
    assert "guard item_fault" in page(tmp_path / "report")


def test_a_record_without_an_end_says_so(record: Path, tmp_path: Path) -> None:
    finished: list[int] = []

    def broken_off(entry: Entry) -> Told:
        if not finished:
            yield entry.kind, entry.body
        if entry.body.get("mark") == "point_finished":
            finished.append(entry.seq)

    summary = write_report(told_again(record, tmp_path / "off.record", broken_off), tmp_path / "report")
    assert summary.verdict.startswith("Not ended: 1 of 6 points")
    assert any("no closing entry" in flag for flag in summary.flags)
    assert "running" in summary.why


def test_gaps_interruptions_and_words_are_told(record: Path, tmp_path: Path) -> None:
    def eventful(entry: Entry) -> Told:
        silent = 4000.0 < entry.when_s < 4300.0
        if not (silent and entry.kind == Kind.OBSERVATION):
            yield entry.kind, entry.body
        if entry.kind == Kind.OPENED:
            yield Kind.OPERATOR, {"word": "hold", "who": "night shift", "reason": "door open"}

    told_again(record, tmp_path / "told.record", eventful)
    summary = write_report(tmp_path / "told.record", tmp_path / "report")
    assert any("nobody looked at the source for 5 min" in flag for flag in summary.flags)
    assert "night shift said hold: door open" in page(tmp_path / "report")


def test_a_changed_record_is_never_presented_as_sound(record: Path, tmp_path: Path) -> None:
    changed = tmp_path / "changed.record"
    changed.write_bytes(record.read_bytes())
    with closing(sqlite3.connect(changed)) as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute("UPDATE entry SET when_s = when_s + 1 WHERE seq = 5000")
        connection.commit()
    summary = write_report(changed, tmp_path / "report")
    assert "Nothing here may be relied on" in summary.flags[0]
    assert "BROKEN: entry 5000" in page(tmp_path / "report")
    assert not summary.good


def test_reading_the_module_does_not_load_the_plotting_library() -> None:
    question = "import sys, daemon.results.report; print('matplotlib' in sys.modules)"
    answer = subprocess.run(
        [sys.executable, "-c", question], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert answer.stdout.strip() == "False"
