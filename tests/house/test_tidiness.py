"""The house stays small: file and function sizes, no mocks, no sleeps, no foreign names."""

from __future__ import annotations

import ast
import re
import statistics
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CODE = [p for f in ("daemon", "drivers", "plans", "simulators") for p in sorted((ROOT / f).rglob("*.py"))]
TESTS = sorted((ROOT / "tests").rglob("*.py"))
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "daemon", "drivers", "plans", "tests",
    "simulators", ".ci", ".git", ".gitignore",
}  # fmt: skip


def lines(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


def test_files_are_short() -> None:
    sizes = {path: lines(path) for path in CODE}
    assert statistics.median(size for size in sizes.values() if size) <= 130
    assert {str(p.relative_to(ROOT)): n for p, n in sizes.items() if n > 400} == {}


def test_functions_are_short() -> None:
    sizes = []
    for path in CODE:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                body = node.body[1:] if ast.get_docstring(node) else node.body
                sizes.append(body[-1].end_lineno - body[0].lineno + 1 if body else 0)  # type: ignore[operator]
    assert statistics.median(sizes) <= 8


def test_tests_use_no_mocks() -> None:
    words = ("Mock" + "(", "unittest" + ".mock")
    assert [p.name for p in TESTS if any(word in p.read_text("utf-8") for word in words)] == []


def test_tests_never_sleep_in_real_time() -> None:
    # On the jumping clock a sleep costs nothing; elsewhere only a look at a condition may be put off.
    real = [p for p in TESTS if "virtual_time" not in p.read_text("utf-8") and "campaigns" not in p.parts]
    long_sleep = re.compile(r"\bsleep\((?!0\)|0\.001\))")
    assert [
        p.name for p in real if p.parent != Path(__file__).parent and long_sleep.search(p.read_text("utf-8"))
    ] == []


def test_nothing_else_stands_at_the_top() -> None:
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.splitlines()
    assert {name.split("/")[0] for name in tracked} <= TOP_LEVEL


def test_every_file_says_what_it_is() -> None:
    silent = [
        str(path.relative_to(ROOT))
        for path in CODE
        if lines(path) and not ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert silent == []


def test_the_installed_names_come_from_this_tree(tmp_path: Path) -> None:
    question = (
        "import daemon.cli, drivers.roles, plans.plan, simulators.scene;"
        "print(daemon.cli.__file__, drivers.roles.__file__, plans.plan.__file__, simulators.scene.__file__)"
    )
    answer = subprocess.run(
        [sys.executable, "-c", question], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    if "No module named" in answer.stderr:
        pytest.skip("ohmvigil is not installed in this environment; the tests run from the tree")
    places = answer.stdout.split()
    assert len(places) == 4
    assert all(Path(place).resolve().is_relative_to(ROOT) for place in places), (
        f"another package is called daemon, drivers, plans or simulators: {places}"
    )
