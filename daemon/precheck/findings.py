"""One thing the pre-check found, and all of them together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from plans.unroll import Step

Severity = Literal["refused", "caution", "info"]


@dataclass(frozen=True, slots=True)
class Finding:
    """`value` against `limit` (with units), who set the limit, a sentence, and what to do about it."""

    check: str
    severity: Severity
    sentence: str
    remedy: str = ""
    value: str = ""
    limit: str = ""
    set_by: str = ""

    @property
    def text(self) -> str:
        """Sentence and remedy as one paragraph."""
        return f"{self.sentence} {self.remedy}".rstrip()


@dataclass(frozen=True, slots=True)
class PrecheckReport:
    """Everything found, refusals first."""

    findings: tuple[Finding, ...]

    @property
    def refused(self) -> bool:
        """True when nothing may be switched on."""
        return bool(self.refusals)

    @property
    def refusals(self) -> tuple[Finding, ...]:
        """Findings that forbid the run."""
        return self._of("refused")

    @property
    def cautions(self) -> tuple[Finding, ...]:
        """Findings a person should read before leaving the bench alone."""
        return self._of("caution")

    @property
    def infos(self) -> tuple[Finding, ...]:
        """What was checked and found good, or is good to know."""
        return self._of("info")

    def _of(self, severity: Severity) -> tuple[Finding, ...]:
        return tuple(finding for finding in self.findings if finding.severity == severity)


def degrees(temperature_c: float) -> str:
    """A temperature for a sentence: whole degrees where it is whole."""
    return f"{round(temperature_c, 1):.0f} °C" if _whole(temperature_c) else f"{temperature_c:.1f} °C"


def named(step: Step) -> str:
    """A step as a person calls it: 'Point 4 (480 °C)'."""
    name = {
        "zero_before": "The first point",
        "anneal": "The annealing",
        "annealed": "The return after annealing",
        "zero_after": "The last point",
    }.get(step.kind, f"Point {step.number}")
    return f"{name} ({degrees(step.temperature_c)})"


def listed(words: list[str]) -> str:
    """'A', 'A and b', 'A, b and c'."""
    later = [word[0].lower() + word[1:] for word in words[1:]]
    return " and ".join([", ".join([words[0], *later[:-1]]), *later[-1:]])


def _whole(value: float) -> bool:
    return abs(value - round(value)) < 0.05
