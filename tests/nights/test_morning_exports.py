"""Exports: the same rows in every format, with a dictionary that knows every column."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.results.export import COLUMNS, dictionary, rows
from tests.nights.morning import ROOT, morning_night


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return morning_night(tmp_path_factory.mktemp("exports") / "quick.record")


@pytest.mark.parametrize("what", COLUMNS)
def test_every_format_holds_the_same_rows(record: Path, what: str, tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet", reason="pyarrow is an extra and not installed here")
    for kind in ("csv", "jsonl", "parquet"):
        assert (
            main(["export", str(record), "--what", what, "--format", kind, "--to", str(tmp_path / kind)]) == 0
        )
    names = [column.name for column in COLUMNS[what]]
    lines = [json.loads(line) for line in (tmp_path / "jsonl").read_text("utf-8").splitlines()]
    table = parquet.read_table(tmp_path / "parquet")
    written = list(csv.DictReader(io.StringIO((tmp_path / "csv").read_text("utf-8"))))
    assert table.column_names == names == list(written[0])
    assert table.to_pylist() == lines == [dict(zip(names, row, strict=True)) for row in rows(record, what)]
    assert [row[names[0]] for row in written] == [str(line[names[0]]) for line in lines]


def test_the_dictionary_travels_in_the_parquet_file(record: Path, tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet", reason="pyarrow is an extra and not installed here")
    assert (
        main(["export", str(record), "--what", "points", "--format", "parquet", "--to", str(tmp_path / "p")])
        == 0
    )
    schema = parquet.read_schema(tmp_path / "p")
    told = {field.name: field.metadata[b"meaning"].decode() for field in schema}
    assert told == {one["column"]: one["meaning"] for one in dictionary("points")}


def test_an_existing_file_is_not_overwritten(
    record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "taken").write_text("mine", "utf-8")
    for kind in ("csv", "jsonl", "parquet"):
        words = ["--what", "points", "--format", kind, "--to", str(tmp_path / "taken")]
        assert main(["export", str(record), *words]) == 2
        assert "taken: there is such a file already, and nothing is overwritten" in capsys.readouterr().err
    assert (tmp_path / "taken").read_text("utf-8") == "mine"


@pytest.mark.parametrize("kind", ["csv", "jsonl", "parquet"])
def test_a_failed_export_leaves_no_file(tmp_path: Path, kind: str) -> None:
    words = ["--format", kind, "--to", str(tmp_path / "p")]
    assert main(["export", str(tmp_path / "none.record"), *words]) == 2
    assert list(tmp_path.iterdir()) == []


def test_readings_count_in_the_points(record: Path) -> None:
    names = [column.name for column in COLUMNS["points"]]
    points = [dict(zip(names, row, strict=True)) for row in rows(record, "points")]
    assert {point["serial"] for point in points} == {"TR-IPRT-11", "TR-IPRT-14", "TR-SEMI-21"}
    assert all(point["readings"] >= point["cycles"] for point in points)
    assert [p["point"] for p in points if p["excluded_because"]] == [3, 3, 3]


def test_the_notebook_example_of_the_readme_runs(
    record: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("pandas", reason="pandas is no part of ohmvigil and not installed here")
    readme = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    code = readme.split("```python\n")[1].split("```")[0]
    assert len([line for line in code.splitlines() if line.strip()]) <= 10
    record.with_name("night.record").write_bytes(record.read_bytes())
    monkeypatch.chdir(record.parent)
    found: dict[str, object] = {}
    exec(compile(code, "README.md", "exec"), found)
    assert "count" in capsys.readouterr().out
    assert list(found["ohms"].columns) == [1, 2, 3, 4]  # type: ignore[attr-defined]


def test_whoever_reads_only_the_first_rows_hears_no_complaint(record: Path) -> None:
    command = f"{sys.executable} -m daemon export {record} --what entries | head -1"
    done = subprocess.run(command, shell=True, cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.startswith("seq,utc,when_s") and done.stderr == ""
