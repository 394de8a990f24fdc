"""Plots and bars inside the page."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from daemon.fitting.uncertainty import Budget
from daemon.results.markup import Html, element, joined
from daemon.results.numbers import contribution, fixed, uncertainty
from daemon.results.plot_style import inline_svg


@dataclass(frozen=True, slots=True)
class ItemPictures:
    """The pictures of one thermometer, as SVG."""

    residuals: Path
    over_range: Path


def figure(svg: Path, prefix: str, caption: str) -> Html:
    """A plot in words and picture; on a narrow screen it scrolls sideways."""
    drawing = element("div", Html(inline_svg(svg, prefix, caption)), cls="wide")
    return element("figure", drawing, element("figcaption", caption))


def budget_bars(budget: Budget) -> Html:
    """The lines of a budget as bars, largest first."""
    lines = sorted(budget.lines, key=lambda line: -line.standard_mk)
    largest_mk = max((line.standard_mk for line in lines), default=0.0) or 1.0
    cells = [
        cell
        for line in lines
        for cell in (
            element("span", line.name, cls="name"),
            element(
                "span", element("span", cls="bar", style=f"width:{100 * line.standard_mk / largest_mk:.1f}%")
            ),
            element("span", contribution(line.standard_mk, budget.combined_mk, "mK"), cls="n"),
        )
    ]
    where = fixed(budget.temperature_c, 1, "°C")
    words = (
        f"Where the uncertainty comes from at {where}, standard uncertainties: together "
        f"{uncertainty(budget.combined_mk)}, k = {budget.coverage_factor:.2f}, "
        f"U = {uncertainty(budget.expanded_mk)} ({100 * budget.coverage:.0f} % coverage)."
    )
    return joined([element("p", words), element("div", *cells, cls="bars")])
