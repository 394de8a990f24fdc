"""The certificate's figures: residuals and uncertainty, legible in grey print."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np

from daemon.fitting.classes import tolerance_class
from daemon.results.certificate.facts import Facts
from daemon.results.judgement import SIMULATED
from daemon.results.plot_style import (
    BLUE,
    HALO,
    INK,
    ORANGE,
    RED,
    SOFT,
    mark_simulated,
    new_figure,
    quiet,
    save,
    style,
)
from daemon.results.range_plot import draw_errors, draw_uncertainty, expanded_mk

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_WIDTH_IN, _HEIGHT_IN = 6.69, 2.05  # 170 mm, the width of the text
_GRID = 121
_MARKERS = {"from_below": ("^", BLUE), "from_above": ("v", ORANGE)}


def residuals_svg(facts: Facts) -> bytes:
    """Residuals with U of each point inside ±U(t), and beside it the same on their own scale."""
    with style():
        figure = new_figure(_WIDTH_IN, _HEIGHT_IN)
        left, right = figure.subplots(1, 2, gridspec_kw={"width_ratios": (3, 2)})
        where = np.linspace(*facts.characteristic.range_c, _GRID)
        expanded = expanded_mk(facts.characteristic, where, _smallest_mk(facts))
        left.fill_between(where, -expanded, expanded, color=HALO, alpha=0.35, linewidth=0)
        left.plot(where, expanded, color=BLUE, linewidth=0.7)
        left.plot(where, -expanded, color=BLUE, linewidth=0.7)
        _residuals(left, facts, bars=True)
        _residuals(right, facts, bars=False)
        _label(right, "residual / mK, own scale")
        return _finished(figure, left, "residual / mK, with U", facts)


def _residuals(axes: Axes, facts: Facts, *, bars: bool) -> None:
    axes.axhline(0.0, color=SOFT, linewidth=0.6)
    for row in facts.points:
        if row.residual_mk is None or (row.excluded_because and not bars):
            continue
        marker, colour = ("x", RED) if row.excluded_because else _MARKERS.get(row.approach, ("o", INK))
        axes.errorbar(
            float(row.temperature_c),
            row.residual_mk,
            yerr=float(row.expanded_mk) if bars else None,
            fmt=marker,
            color=colour,
            markersize=4.0,
            elinewidth=0.6,
            capsize=2.0,
            capthick=0.6,
        )


def uncertainty_svg(facts: Facts) -> bytes:
    """U(t) over the range and the largest contributions to it."""
    with style():
        figure = new_figure(_WIDTH_IN, _HEIGHT_IN)
        axes = figure.subplots()
        draw_uncertainty(axes, facts.characteristic, _smallest_mk(facts))
        axes.legend(loc="center left", bbox_to_anchor=(1.01, 0.5))
        return _finished(figure, axes, "uncertainty / mK", facts)


def conformity_svg(facts: Facts) -> bytes:
    """The error against the nominal characteristic with U(t), between the limits of the class."""
    judged = facts.conformity
    assert judged is not None
    with style():
        figure = new_figure(_WIDTH_IN, _HEIGHT_IN)
        axes = figure.subplots()
        wanted = tolerance_class(judged.class_name, facts.thermometer.construction)
        nominal_ohm = facts.thermometer.nominal_r0_ohm
        draw_errors(axes, facts.characteristic, nominal_ohm, [wanted], _smallest_mk(facts))
        axes.legend(loc="center left", bbox_to_anchor=(1.01, 0.5))
        return _finished(figure, axes, "error / K", facts)


def _smallest_mk(facts: Facts) -> float:
    return facts.papers.laboratory.smallest_uncertainty_mk or 0.0


def _label(axes: Axes, what: str) -> None:
    quiet(axes)
    axes.set_xlabel("t₉₀ / °C", labelpad=1)
    axes.set_ylabel(what, labelpad=2)


def _finished(figure: Figure, axes: Axes, what: str, facts: Facts) -> bytes:
    _label(axes, what)
    if facts.evaluated.story.simulated:
        mark_simulated(figure, SIMULATED)
    with TemporaryDirectory() as folder:
        return save(figure, Path(folder) / "figure")[0].read_bytes()
