"""The check standard and the R0 of former runs on the page."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from daemon.history.check_standard import NO_CHECK_STANDARD, CheckStandard
from daemon.history.past import Past
from daemon.history.since_last import SinceLast
from daemon.results.markup import Html, bullets, element, section, table
from daemon.results.numbers import counted, signed
from daemon.results.page_figures import figure

_NEWEST = 8
_CAPTION = (
    "Left, the check standard's difference from its own certificate in each run: circle good, triangle "
    "warning, cross action, grey while there are no limits; dotted two, dashed three standard deviations. "
    "Right, the R₀ of each thermometer. Runs are those in the record's folder."
)


def history_section(
    past: Past, check: CheckStandard | None, since: Sequence[SinceLast], svg: Path | None
) -> Html:
    """The control chart in words and figures, then as a picture when there was a run before."""
    told = NO_CHECK_STANDARD if check is None else check.sentence
    parts = [element("p", f"{told[0].upper()}{told[1:]}.")]
    if check is not None and len(check.days) > 1:
        newest = list(zip(check.days, check.differences_mk, check.chart.marks, strict=True))[-_NEWEST:]
        rows = [[f"{day:%Y-%m-%d}", signed(value, 2), mark] for day, value, mark in newest]
        parts.append(table(("run", "by its certificate minus by the reference / mK", "mark"), rows))
    parts.append(bullets(f"{one.sentence}." for one in since))
    if svg is not None:
        parts.append(figure(svg, "history", _CAPTION))
    else:
        parts.append(element("p", "No former run lies in the record's folder.", cls="quiet"))
    if past.unread:
        parts.append(element("p", f"{counted(len(past.unread), 'record')} could not be read:", cls="quiet"))
    return section(
        "Check standard and history",
        *parts,
        bullets(f"{one.record}: {one.reason}" for one in past.unread),
        name="history",
    )
