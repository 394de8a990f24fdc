"""One thing that was checked: what was expected and on whose word, what was found, and whether it holds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Check:
    """One row of the validation report; all texts are for people."""

    what: str
    expected: str
    found: str
    source: str
    holds: bool


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the validation with its checks; `about` says what was done."""

    title: str
    about: str
    checks: tuple[Check, ...]

    @property
    def holds(self) -> bool:
        """Every check holds, and there was at least one."""
        return bool(self.checks) and all(check.holds for check in self.checks)
