"""A thermometer that reads otherwise than in its last run surprises: nobody signs that in silence."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pytest

from daemon.cli import main
from daemon.history.past import past_of
from daemon.history.since_last import SinceLast, since_last
from daemon.journal.entry import Entry, Kind
from daemon.results.calibrate import calibrate
from daemon.results.certificate.issue import authorise
from daemon.results.report import write_report
from daemon.review.acts import accept
from daemon.review.morning import look
from daemon.review.sign import NotSigned
from plans.loading import load_plan, parse_plan
from tests.nights.morning import EIGHT_OCLOCK, KEEPER, NINE_OCLOCK, papers, words_of
from tests.nights.rehearsed import EXAMPLES, rehearsed_once
from tests.nights.report_nights import told_again

_DAY_S = 86400.0
_ITEM = "TR-IPRT-11"
_DROPPED_OHM = 0.039


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two nights alike, told as real, then one for which the item was dropped: 0.1 K more."""
    folder = tmp_path_factory.mktemp("nights")
    texts = load_plan(EXAMPLES / "short.toml").texts
    warm = "[[points]]\ntemperature_c = 50.0\n[[points]]\ntemperature_c = 60.0\n[finish]"
    run = parse_plan(texts.plan.replace("[finish]", warm), texts.bench, texts.register)
    rehearsed_once(run, folder / "first.rehearsed")
    channel = next(number for number, name in run.channels.items() if name == _ITEM)
    for day, more_ohm in enumerate((0.0, 0.0, _DROPPED_OHM)):
        change = _more(channel, more_ohm)
        told_again(folder / "first.rehearsed", folder / f"{day}.record", change, day * _DAY_S)
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


def said_of(record: Path) -> dict[str, SinceLast]:
    return {one.serial: one for one in since_last(past_of(record, calibrate(record)))}


def test_a_first_run_has_nothing_to_be_held_against(folder: Path) -> None:
    assert said_of(folder / "0.record") == {}


def test_a_thermometer_that_did_not_change_agrees_with_its_last_run(folder: Path) -> None:
    found = said_of(folder / "1.record")[_ITEM]
    assert found.agrees and found.record == "0.record" and found.en == pytest.approx(0.0, abs=1e-6)


def test_a_change_is_told_in_millikelvin_and_as_en_for_that_thermometer_alone(folder: Path) -> None:
    dropped = said_of(folder / "2.record")
    assert not dropped[_ITEM].agrees and dropped["TR-CHK-31"].agrees
    # 0.39083 Ω/K at 0 °C: IEC 60751
    assert abs(dropped[_ITEM].drift_mk) == pytest.approx(1e3 * _DROPPED_OHM / 0.39083, rel=0.05)
    expanded_mk = [
        1e3 * float(max(item.characteristic.expanded_uncertainty_k(item.characteristic.range_c)))
        for record in ("1.record", "2.record")
        for item in calibrate(folder / record).items
        if item.serial == _ITEM and item.characteristic is not None
    ]
    assert dropped[_ITEM].en >= abs(dropped[_ITEM].drift_mk) / sum(expanded_mk)


def test_it_is_flagged_on_the_page_and_in_the_review(folder: Path, tmp_path: Path) -> None:
    morning = look(folder / "2.record")
    assert not morning.good
    assert any(flag.startswith(f"{_ITEM} differs from its run of 2026-01-16") for flag in morning.flags)
    write_report(folder / "2.record", tmp_path / "report")
    page = (tmp_path / "report" / "summary.html").read_text("utf-8")
    assert f"{_ITEM} differs from its run" in page and "TR-CHK-31 agrees with its run" in page


def test_its_history_tells_the_number_of_each_run(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["history", _ITEM, "--records", str(folder)])
    told = capsys.readouterr().out
    assert "|En| 0.00 since 2026-01-15" in told
    main(["history", _ITEM, "--records", str(folder), "--json"])
    runs = json.loads(capsys.readouterr().out)["runs"]
    assert runs[0]["since_last"] is None
    assert runs[2]["since_last"]["record"] == "1.record" and runs[2]["since_last"]["en"] > 1.0


def test_it_is_accepted_only_with_a_reason_that_stands_on_its_certificate(folder: Path) -> None:
    record = folder / "2.record"
    with pytest.raises(NotSigned, match=f"{_ITEM} differs .* says why with --because"):
        accept(record, EIGHT_OCLOCK, KEEPER)
    accept(record, EIGHT_OCLOCK, KEEPER, "dropped by the customer, order 7")
    its_own = words_of(authorise(record, NINE_OCLOCK, "wr", _ITEM, papers()).drawn.pdf)
    assert f"{_ITEM} differs from its run" in its_own and "dropped by the customer, order 7" in its_own
    another = words_of(authorise(record, NINE_OCLOCK, "wr", "TR-CHK-31", papers()).drawn.pdf)
    assert "differs from its run" not in another
