"""The picture of one thermometer: residuals beside U of each point and U(t), and on their own scale."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from daemon.fitting.characteristic import Characteristic
from daemon.fitting.points import REPEATABILITY
from daemon.results.calibrate import ItemResult
from daemon.results.item_points import ItemPoint
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

_SIDES = {
    "first point": ("o", INK),
    "reached from below": ("^", BLUE),
    "reached from above": ("v", ORANGE),
    "excluded from the fit": ("x", RED),
}
_APPROACHES = {"from_below": "reached from below", "from_above": "reached from above"}
_GRID = 121
_EDGES = {"left": 0.055, "right": 0.99, "top": 0.91, "bottom": 0.22, "wspace": 0.15}


def draw_residuals(
    item: ItemResult, characteristic: Characteristic, points: list[ItemPoint], stem: Path, *, simulated: bool
) -> tuple[Path, Path]:
    """Draw one thermometer's residuals; returns the paths of SVG and PNG."""
    with style():
        figure = new_figure(10.0, 3.3, constrained=False)
        left, right = figure.subplots(1, 2, gridspec_kw=_EDGES)
        _band(left, characteristic)
        _points(left, points, lambda point: point.expanded_mk or 0.0)
        _points(right, points, repeatability_mk)
        right.axhline(0.0, color=SOFT, linewidth=0.6)
        for axes in (left, right):
            quiet(axes)
            axes.set_xlabel("t₉₀ / °C", labelpad=1)
        left.set_ylabel("residual / mK", labelpad=1)
        left.set_title(f"{item.serial}: equation minus reference, bars ±U of each point", loc="left", pad=4)
        right.set_title("the same on its own scale, bars ±2 s of the mean", loc="left", pad=4)
        figure.legend(*left.get_legend_handles_labels(), loc="lower center", ncols=5, handlelength=1.8)
        if simulated:
            mark_simulated(figure, SIMULATED)
        return save(figure, stem)


def repeatability_mk(point: ItemPoint) -> float:
    """Twice the standard uncertainty by repeatability alone, in mK."""
    lines = point.budget.lines if point.budget is not None else ()
    return 2.0 * sum(line.standard_mk for line in lines if line.name == REPEATABILITY)


def _band(axes: Axes, characteristic: Characteristic) -> None:
    where = np.linspace(*characteristic.range_c, _GRID)
    expanded_mk = 1e3 * characteristic.expanded_uncertainty_k(where)
    axes.fill_between(where, -expanded_mk, expanded_mk, color=HALO, alpha=0.35, linewidth=0)
    axes.plot(where, expanded_mk, color=BLUE, linewidth=0.8, label="±U(t) of the characteristic")
    axes.plot(where, -expanded_mk, color=BLUE, linewidth=0.8)
    axes.axhline(0.0, color=SOFT, linewidth=0.6)


def _side(point: ItemPoint) -> str:
    return (
        "excluded from the fit" if point.excluded_because else _APPROACHES.get(point.approach, "first point")
    )


def _points(axes: Axes, points: list[ItemPoint], bar_mk: Callable[[ItemPoint], float]) -> None:
    for name, (marker, colour) in _SIDES.items():
        shown = [point for point in points if point.residual_mk is not None and _side(point) == name]
        if not shown:
            continue
        axes.errorbar(
            [point.reduced.temperature_c for point in shown],
            [point.residual_mk or 0.0 for point in shown],
            yerr=[bar_mk(point) for point in shown],
            fmt=marker,
            color=colour,
            markersize=5.0,
            elinewidth=0.7,
            capsize=2.5,
            capthick=0.7,
            label=name,
        )
