"""The certificate's figures: residuals and uncertainty, legible in grey print."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np

from daemon.fitting.arrays import FloatArray
from daemon.fitting.classes import nominal_temperature_c, tolerance_class
from daemon.results.certificate.facts import Facts, construction_of
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

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_WIDTH_IN, _HEIGHT_IN = 6.69, 2.05  # 170 mm, the width of the text
_GRID = 121
_MARKERS = {"from_below": ("^", BLUE), "from_above": ("v", ORANGE)}
_FEW = 4


def residuals_svg(facts: Facts) -> bytes:
    """Residuals with U of each point inside ±U(t), and beside it the same on their own scale."""
    with style():
        figure = new_figure(_WIDTH_IN, _HEIGHT_IN)
        left, right = figure.subplots(1, 2, gridspec_kw={"width_ratios": (3, 2)})
        where = np.linspace(*facts.characteristic.range_c, _GRID)
        expanded = _expanded_mk(facts, where)
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
        where = np.linspace(*facts.characteristic.range_c, _GRID)
        axes.plot(where, _expanded_mk(facts, where), color=INK, linewidth=1.1, label="U(t)")
        names, parts = facts.characteristic.contributions_k(where)
        largest = np.argsort(-parts.max(axis=0))[:_FEW]
        lines = zip(largest, ("--", "-.", ":", (0, (9, 4))), (BLUE, ORANGE, SOFT, RED), strict=False)
        for place, dashes, colour in lines:
            label = f"u, {names[place]}"
            axes.plot(
                where, 1e3 * parts[:, place], linestyle=dashes, color=colour, linewidth=0.9, label=label
            )
        axes.set_ylim(bottom=0.0)
        axes.legend(loc="center left", bbox_to_anchor=(1.01, 0.5))
        return _finished(figure, axes, "uncertainty / mK", facts)


def conformity_svg(facts: Facts) -> bytes:
    """The error against the nominal characteristic with U(t), between the limits of the class."""
    judged = facts.conformity
    assert judged is not None
    with style():
        figure = new_figure(_WIDTH_IN, _HEIGHT_IN)
        axes = figure.subplots()
        where = np.linspace(*judged.tested_range_c, _GRID)
        ohms = facts.characteristic.resistance_ohm(where)
        error = nominal_temperature_c(ohms, facts.thermometer.nominal_r0_ohm) - where
        allowed = tolerance_class(judged.class_name, construction_of(facts.thermometer)).tolerance_k(where)
        expanded = 1e-3 * _expanded_mk(facts, where)
        axes.fill_between(where, error - expanded, error + expanded, color=HALO, alpha=0.5, linewidth=0)
        axes.plot(where, error, color=BLUE, linewidth=1.0, label="error, with U(t)")
        axes.plot(
            where, allowed, color=INK, linewidth=0.9, linestyle="--", label=f"limits, {judged.class_name}"
        )
        axes.plot(where, -allowed, color=INK, linewidth=0.9, linestyle="--")
        axes.axhline(0.0, color=SOFT, linewidth=0.6)
        axes.legend(loc="center left", bbox_to_anchor=(1.01, 0.5))
        return _finished(figure, axes, "error / K", facts)


def _expanded_mk(facts: Facts, where: FloatArray) -> FloatArray:
    smallest_mk = facts.papers.laboratory.smallest_uncertainty_mk or 0.0
    return np.maximum(1e3 * facts.characteristic.expanded_uncertainty_k(where), smallest_mk)


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
