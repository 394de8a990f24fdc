"""One thermometer over its range: U(t) with its largest parts, and its error between limits of classes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from daemon.fitting.arrays import FloatArray
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.classes import ToleranceClass, nominal_temperature_c, tolerance_class
from daemon.results.judgement import SIMULATED
from daemon.results.plot_style import (
    BLUE,
    GREEN,
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
from plans.probe import Thermometer

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_CLASSES = ("IEC 60751 AA", "IEC 60751 A", "IEC 60751 B", "IEC 60751 C")
_LARGEST = 4
_GRID = 121
_PARTS = (("--", BLUE), ("-.", ORANGE), (":", SOFT), ((0, (9, 4)), RED))
_LIMITS = (("--", INK), ("-.", GREEN), (":", SOFT), ((0, (9, 4)), RED))
_EDGES = {"left": 0.055, "right": 0.99, "top": 0.92, "bottom": 0.16, "wspace": 0.13}
_ROOM, _LEGEND_ROOM = 1.15, 1.6


def draw_range(
    serial: str, found: Characteristic, thermometer: Thermometer, stem: Path, *, simulated: bool
) -> tuple[Path, Path]:
    """Draw it for a report, class limits for industrial thermometers only; returns paths of SVG and PNG."""
    with style():
        figure = new_figure(10.0, 3.0, constrained=False)
        left, right = figure.subplots(1, 2, gridspec_kw=_EDGES)
        draw_uncertainty(left, found)
        left.set_title(f"{serial}: uncertainty over the range", loc="left", pad=4)
        left.set_ylim(top=_LEGEND_ROOM * left.get_ylim()[1])
        left.legend(loc="upper left")
        if thermometer.kind == "iprt":
            classes = [tolerance_class(name, thermometer.construction) for name in _CLASSES]
            draw_errors(right, found, thermometer.nominal_r0_ohm, classes)
            nominal = f"IEC 60751, nominal R₀ = {thermometer.nominal_r0_ohm:g} Ω"
            right.set_title(f"error by {nominal}, and class limits", loc="left", pad=4)
            right.legend(loc="upper left", ncols=2)
        else:
            right.set_axis_off()
        for axes in (left, right):
            axes.set_xlabel("t₉₀ / °C", labelpad=1)
        if simulated:
            mark_simulated(figure, SIMULATED)
        return save(figure, stem)


def draw_uncertainty(axes: Axes, found: Characteristic, smallest_mk: float = 0.0) -> None:
    """U(t) of a characteristic, never below `smallest_mk`, and the largest standard uncertainties in it."""
    where = np.linspace(*found.range_c, _GRID)
    axes.plot(where, expanded_mk(found, where, smallest_mk), color=INK, linewidth=1.1, label="U(t)")
    names, parts = found.contributions_k(where)
    largest = np.argsort(-parts.max(axis=0))[:_LARGEST]
    for place, (dashes, colour) in zip(largest, _PARTS, strict=False):
        axes.plot(
            where,
            1e3 * parts[:, place],
            linestyle=dashes,
            color=colour,
            linewidth=0.9,
            label=f"u, {names[place]}",
        )
    axes.set_ylim(bottom=0.0)
    axes.set_ylabel("uncertainty / mK", labelpad=2)
    quiet(axes)


def draw_errors(
    axes: Axes,
    found: Characteristic,
    nominal_ohm: float,
    classes: Sequence[ToleranceClass],
    smallest_mk: float = 0.0,
) -> None:
    """The error against the nominal characteristic with U(t), and the limits of classes, strictest first.

    Each class is drawn where it holds; the scale reaches to the first that the thermometer stays within.
    """
    where = np.linspace(*found.range_c, _GRID)
    error_k = nominal_temperature_c(found.resistance_ohm(where), nominal_ohm) - where
    expanded_k = 1e-3 * expanded_mk(found, where, smallest_mk)
    axes.fill_between(where, error_k - expanded_k, error_k + expanded_k, color=HALO, alpha=0.5, linewidth=0)
    axes.plot(where, error_k, color=BLUE, linewidth=1.0, label="error, with U(t)")
    axes.axhline(0.0, color=SOFT, linewidth=0.6)
    furthest_k = np.abs(error_k) + expanded_k
    reach_k = float(furthest_k.max())
    for one, (dashes, colour) in zip(classes, _LIMITS, strict=False):
        inside = (where >= one.range_c[0]) & (where <= one.range_c[1])
        if not inside.any():
            continue
        limit_k = one.tolerance_k(where[inside])
        for side_k, label in ((limit_k, f"limits, {one.name}"), (-limit_k, None)):
            axes.plot(where[inside], side_k, color=colour, linewidth=0.9, linestyle=dashes, label=label)
        reach_k = max(reach_k, float(limit_k.max()))
        if np.all(furthest_k[inside] <= limit_k):
            break
    axes.set_ylim(-_ROOM * reach_k, _ROOM * reach_k)
    axes.set_ylabel("error / K", labelpad=2)
    quiet(axes)


def expanded_mk(found: Characteristic, where_c: FloatArray, smallest_mk: float = 0.0) -> FloatArray:
    """U(t) in mK at (n,) temperatures in °C, never below `smallest_mk`."""
    return np.maximum(1e3 * found.expanded_uncertainty_k(where_c), smallest_mk)
