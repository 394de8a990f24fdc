"""The command line as a person meets it: help at once, refusals in sentences, exit codes kept."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from daemon.cli import COMMANDS, main
from daemon.cli.keys import FILES, tables

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "plans" / "examples"
HEAVY = ("numpy", "scipy", "matplotlib", "asyncio", "pydantic", "aiomqtt", "pyvisa", "sqlite3", "rich")


def test_help_loads_nothing_heavy() -> None:
    command = [sys.executable, "-X", "importtime", "-m", "daemon", "--help"]
    loaded = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stderr
    names = {line.rsplit("|", 1)[-1].strip().split(".")[0] for line in loaded.splitlines() if "|" in line}
    assert names.isdisjoint(HEAVY)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, "--help"]) == 0
    assert "--json" in capsys.readouterr().out


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_stands_in_the_readme(command: str) -> None:
    assert f"`{command}" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_an_unknown_command_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["frobnicate"]) == 2
    assert "there is no command 'frobnicate'" in capsys.readouterr().err


def test_a_too_hot_plan_is_refused_by_check(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(EXAMPLES / "too-hot.toml")]) == 2
    said = capsys.readouterr().out
    assert "Point 4 (480 °C)" in said and "may see 450 °C at most" in said and "take the probe out" in said


def test_a_too_hot_plan_is_refused_by_run_and_nothing_is_written(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    record = tmp_path / "night.record"
    assert main(["run", str(EXAMPLES / "too-hot.toml"), "--record", str(record)]) == 2
    assert "nothing was switched on" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_missing_plan_is_a_sentence(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["check", str(tmp_path / "none.toml")]) == 2
    assert "none.toml" in capsys.readouterr().err


def test_a_loosened_guard_is_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    plan = (EXAMPLES / "short.toml").read_text(encoding="utf-8")
    for name in ("bench-bath.toml", "register.toml"):
        (tmp_path / name).write_text((EXAMPLES / name).read_text(encoding="utf-8"), encoding="utf-8")
    path = tmp_path / "loose.toml"
    path.write_text(plan + "\n[guards.set_point_readback]\ndifference_k = 5.0\n", encoding="utf-8")
    assert main(["check", str(path)]) == 2
    assert "would loosen it" in capsys.readouterr().err


def test_guards_are_listed_from_the_code(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["guards", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert {"over_limit", "set_point_readback", "no_rise"} <= {guard["name"] for guard in listed["guards"]}
    assert {"too_hot", "cut_out", "guardian"} <= {check["name"] for check in listed["before_heat"]}
    for one in (*listed["guards"], *listed["before_heat"]):
        assert one["why"] and one["hazard"] and one["reads"] and one["reaction"] and one["source"]


def test_the_document_of_checks_and_guards_is_what_the_code_says(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["guards", "--markdown"]) == 0
    document = Path(__file__).resolve().parents[2] / "daemon" / "guards" / "guards.md"
    assert document.read_text("utf-8") == capsys.readouterr().out


def test_the_document_of_keys_is_what_the_code_reads(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["keys", "--markdown"]) == 0
    document = ROOT / "plans" / "keys.md"
    assert document.read_text("utf-8") == capsys.readouterr().out


@pytest.mark.parametrize("kind", FILES)
def test_every_key_an_example_uses_stands_in_the_list_under_its_table(kind: str) -> None:
    listed = {(table.heading.strip("[]"), key.name) for table in tables(FILES[kind]) for key in table.keys}
    name = {"plan": "overnight", "laboratory": "papers/laboratory", "order": "papers/order"}.get(
        kind, f"{kind}*"
    )
    found = [tomllib.loads(path.read_text("utf-8")) for path in EXAMPLES.glob(f"{name}.toml")]
    assert found
    for text in found:
        assert set(_written(text, "")) <= listed


def _written(table: dict[str, Any], path: str) -> Iterator[tuple[str, str]]:
    for key, value in table.items():
        if isinstance(value, dict) and key not in ("response", "lags_s", "guards"):
            name = "NAME" if path.endswith("truths") else key
            yield from _written(value, f"{path}.{name}".lstrip("."))
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for one in value:
                yield from _written(one, f"{path}.{key}".lstrip("."))
        else:
            yield path, key


@pytest.mark.parametrize("text", ["", "this is no database", "SQLite format 3\x00"])
def test_a_file_that_is_no_record_is_a_sentence(
    text: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "broken.record"
    path.write_text(text, encoding="utf-8")
    for command in (["verify"], ["export"], ["report"], ["fit"], ["resume"]):
        assert main([*command, str(path)]) == 2
        assert "broken.record" in capsys.readouterr().err
