"""Types, lint and format are part of the promise."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    "tool", [["mypy"], ["ruff", "check", "."], ["ruff", "format", "--check", "."]], ids=" ".join
)
def test_clean(tool: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", *tool], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_ci_runs_the_command_of_the_readme() -> None:
    (command,) = [line for line in (ROOT / ".ci/run").read_text("utf-8").splitlines() if "pytest" in line]
    assert command in (ROOT / "README.md").read_text("utf-8").splitlines()
