"""Whole nights, rehearsed once and looked at from many sides."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.nights.rehearsed import RehearsedNight, rehearsed


@pytest.fixture(scope="session")
def overnight(tmp_path_factory: pytest.TempPathFactory) -> RehearsedNight:
    """The main example, undisturbed."""
    return rehearsed("overnight.toml", tmp_path_factory.mktemp("overnight") / "night.record")


@pytest.fixture
def night(tmp_path: Path) -> Callable[..., RehearsedNight]:
    """Rehearse any example with any faults."""

    def go(plan: str, *faults: str) -> RehearsedNight:
        return rehearsed(plan, tmp_path / "night.record", *faults)

    return go
