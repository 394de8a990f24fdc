"""The validation report as a page to be printed, signed and kept."""

from __future__ import annotations

from collections.abc import Sequence

from daemon.program import Program
from daemon.results.document import document
from daemon.results.markup import Html, element, joined, section, table
from daemon.results.numbers import day_and_clock
from daemon.validation.check import Check, Part

_TITLE = "Validation of the program"


def validation_page(parts: Sequence[Part], program: Program, utc_s: float, signed: str) -> str:
    """The whole page as text; `signed`: who answers for it, empty for a line to sign on."""
    body = [
        element("h1", _TITLE),
        element(
            "p", f"Done on {day_and_clock(utc_s)}, before use and after any change of what is named below."
        ),
        _verdict(parts),
        _program(program),
        *(_part(part) for part in parts),
        _signature(signed, utc_s),
    ]
    return document(_TITLE, joined(body))


def _verdict(parts: Sequence[Part]) -> Html:
    checks = [check for part in parts for check in part.checks]
    missed = [check for check in checks if not check.holds]
    good = not missed and all(part.holds for part in parts)
    words = (
        f"All {len(checks)} checks hold." if good else f"{len(missed)} of {len(checks)} checks do NOT hold."
    )
    return element("div", element("p", words), cls="verdict good" if good else "verdict bad")


def _program(program: Program) -> Html:
    rows = [
        ("version", program.version),
        ("Python", program.python),
        ("machine", program.machine),
        ("libraries", ", ".join(f"{name} {number}" for name, number in program.libraries)),
    ]
    return section("What was validated", table(("", ""), rows, words=2))


def _part(part: Part) -> Html:
    header = ("check", "expected", "found", "holds", "source")
    return section(
        part.title, element("p", part.about), table(header, [_row(check) for check in part.checks], words=5)
    )


def _row(check: Check) -> tuple[str, ...]:
    return check.what, check.expected, check.found, "yes" if check.holds else "NO", check.source


def _signature(signed: str, utc_s: float) -> Html:
    sentence = (
        f"Signed by {signed}, {day_and_clock(utc_s)}."
        if signed
        else "Name, date and signature of the person who authorises this program for use:"
    )
    line = Html("") if signed else element("p", "_" * 60)
    return section("Authorisation", element("p", sentence), line)
