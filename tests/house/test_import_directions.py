"""Imports point one way only; asserted from the source text, nothing is imported."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
OURS = ("daemon", "drivers", "plans", "simulators")

ALLOWED = {
    "drivers": ("drivers",),
    "plans": ("plans", "drivers.quantities"),
    "simulators": ("simulators", "drivers.quantities", "drivers.clock"),
    "daemon": ("daemon", "plans", "drivers"),
}
INSIDE_DAEMON = {
    "daemon/fitting": ("daemon.fitting", "drivers.quantities"),
    "daemon/journal": ("daemon.journal", "drivers"),
    "daemon/procedure": (
        "daemon.procedure", "daemon.actions", "daemon.channels", "daemon.dew_point", "daemon.equilibrium",
        "daemon.observations", "daemon.touching", "drivers.quantities",
    ),
    "daemon/guards": (
        "daemon.guards", "daemon.actions", "daemon.channels", "daemon.dew_point", "daemon.observations",
        "daemon.rolling", "daemon.states", "drivers",
    ),
    "daemon/telemetry": (
        "daemon.telemetry", "daemon.journal", "daemon.channels", "daemon.preparation", "daemon.states",
        "drivers.clock", "plans",
    ),
    "daemon/web": (
        "daemon.web", "daemon.journal", "daemon.results", "daemon.channels", "daemon.preparation",
        "daemon.states", "daemon.timetable", "daemon.touching", "plans",
    ),
    "daemon/notices": ("daemon.notices", "daemon.program", "plans"),
}  # fmt: skip
MAY_IMPORT_SIMULATORS = ("daemon/rehearsal.py", "daemon/rehearsal_truths.py")


def imports(path: Path) -> Iterator[str]:
    """Full names of everything of ours that a file imports, also inside functions."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            names = [node.module or ""]
        else:
            continue
        yield from (name for name in names if name.split(".")[0] in OURS)


def within(name: str, floors: tuple[str, ...]) -> bool:
    return any(name == floor or name.startswith(f"{floor}.") for floor in floors)


def files(folder: str) -> list[Path]:
    return sorted((ROOT / folder).rglob("*.py"))


@pytest.mark.parametrize("folder", OURS)
def test_a_folder_imports_only_from_the_floors_below_it(folder: str) -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in files(folder)
        for name in imports(path)
        if not within(name, ALLOWED[folder]) and str(path.relative_to(ROOT)) not in MAY_IMPORT_SIMULATORS
    ]
    assert wrong == []


@pytest.mark.parametrize("folder", INSIDE_DAEMON)
def test_inside_the_daemon_the_floors_hold_too(folder: str) -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in files(folder)
        for name in imports(path)
        if not within(name, INSIDE_DAEMON[folder])
    ]
    assert wrong == []


def test_results_read_only_the_record() -> None:
    forbidden = ("daemon.executor", "drivers.registry", "drivers.link", "simulators")
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in files("daemon/results")
        for name in imports(path)
        if within(name, forbidden)
    ]
    assert wrong == []


def test_time_comes_from_the_clock_alone() -> None:
    exempt = {"drivers/clock.py", "daemon/cli/live.py", "daemon/cli/resume.py"}
    calls = (
        "time.time(",
        "time.monotonic(",
        "time.sleep(",
        "datetime.now(",
        "datetime.utcnow(",
        "date.today(",
    )
    wrong = [
        f"{path.relative_to(ROOT)} calls {call}"
        for folder in ("daemon", "drivers", "plans", "simulators")
        for path in files(folder)
        for call in calls
        if call in path.read_text(encoding="utf-8")
        and str(path.relative_to(ROOT)) not in exempt
        and not str(path.relative_to(ROOT)).startswith("daemon/guardian/")
    ]
    assert wrong == []
