"""The history of a thermometer is read from its records alone."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.history.past import runs_in
from plans.loading import load_plan, parse_plan
from tests.nights.rehearsed import EXAMPLES, rehearsed_once


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two runs, a week apart, a thermometer changed by 50 ppm between them; and a torn file."""
    folder = tmp_path_factory.mktemp("records")
    texts = load_plan(EXAMPLES / "short.toml").texts
    later = texts.bench.replace("2026-01-15T17", "2026-01-22T17")
    later += "\n[simulation.truths.TR-IPRT-11]\nshift_ppm = 50.0\nshifts_above_c = 35.0\n"
    for name, bench in (("b", texts.bench), ("a", later)):
        rehearsed_once(parse_plan(texts.plan, bench, texts.register), folder / f"{name}.record")
    (folder / "torn.record").write_bytes(b"not a record")
    return folder


def test_runs_stand_in_the_order_of_their_dates_with_r0_shift_and_heat(records: Path) -> None:
    past = runs_in(records, "TR-IPRT-11")
    found = past.of("TR-IPRT-11")
    assert [visit.record for visit in found] == ["b.record", "a.record"]
    assert found[1].shift_mk == pytest.approx(50.0e-3 / 3.9083e-3, abs=1.5)
    assert found[0].heat.highest_c == pytest.approx(41.0, abs=1.0) and not found[0].heat.over_limit
    assert [one.record for one in past.unread] == ["torn.record"]


def test_the_reference_is_watched_by_the_check_standard(records: Path) -> None:
    found = runs_in(records, "TR-REF-01").of("TR-REF-01")
    assert [visit.role for visit in found] == ["reference", "reference"]
    assert all(visit.check_mk is not None and abs(visit.check_mk) < 50.0 for visit in found)


def test_the_command_prints_and_draws_and_does_not_hide_what_it_cannot_read(
    records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["history", "TR-IPRT-11", "--records", str(records), "--simulated", "--plot", str(tmp_path / "h")]
    assert main(words) == 1
    said = capsys.readouterr().out
    assert "TR-IPRT-11: 2 runs" in said and "for the register: last_r0_ohm = " in said
    assert "not counted: torn.record" in said
    assert (tmp_path / "h.svg").stat().st_size > 1000 and (tmp_path / "h.png").exists()


def test_simulated_runs_do_not_count_unless_asked(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["history", "TR-IPRT-11", "--records", str(records)]) == 2
    assert "2 simulated ones: add --simulated" in capsys.readouterr().err


def test_programs_get_one_document(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["history", "TR-CHK-31", "--records", str(records), "--simulated", "--json"])
    document = json.loads(capsys.readouterr().out)
    assert [run["role"] for run in document["runs"]] == ["check_standard", "check_standard"]
    assert document["chart"]["marks"] == ["too few", "too few"]
