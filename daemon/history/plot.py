"""A thermometer's history as a picture: R0 over time, and the control chart of the check standard."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from daemon.history.chart import PROVISIONAL, Chart
from daemon.history.check_standard import CheckStandard, charted
from daemon.history.past import Past
from daemon.history.visits import Visit
from daemon.results.judgement import SIMULATED
from daemon.results.plot_style import (
    BLUE,
    GREEN,
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

_ALPHA = 3.9083e-3  # IEC 60751: slope at 0 °C over R0
_MARKERS, _COLOURS = "osD^v<>P", (BLUE, ORANGE, GREEN, RED)
_SHAPES = {"too few": ("o", SOFT), "good": ("o", GREEN), "warning": ("^", ORANGE), "action": ("X", RED)}


def draw_history(serial: str, visits: Sequence[Visit], stem: Path) -> tuple[Path, Path]:
    """Write `stem`.svg and `stem`.png; raises OSError."""
    with style():
        figure = new_figure(7.0, 5.0)
        above, below = figure.subplots(2, 1)
        _draw_r0(above, visits)
        checked, chart = charted(visits)
        _draw_chart(below, [visit.check_mk or 0.0 for visit in checked], chart)
        figure.suptitle(f"{serial}: what its records say", fontsize=9)
        if any(visit.simulated for visit in visits):
            mark_simulated(figure, SIMULATED)
        return save(figure, stem)


def _draw_r0(axes: Axes, visits: Sequence[Visit]) -> None:
    known = [(v.opened.date(), v.r0_before_ohm, v.r0_after_ohm) for v in visits]
    values = [(day, ohm) for day, before, after in known for ohm in (before, after) if ohm is not None]
    axes.set_ylabel("R₀ since the first run / mK")
    if values:
        first = values[0][1]
        _dated(axes, [day for day, _ in values], [1e3 * (ohm / first - 1.0) / _ALPHA for _, ohm in values])
    else:
        axes.text(
            0.5, 0.5, "no R₀ in these runs", ha="center", va="center", transform=axes.transAxes, color=SOFT
        )
    quiet(axes)


def _dated(axes: Axes, days: Sequence[date], values: Sequence[float]) -> None:
    axes.plot(days, values, color=BLUE, marker="o", markersize=3.0, linewidth=0.8)  # type: ignore[arg-type]
    axes.tick_params(axis="x", rotation=20)


def _draw_chart(axes: Axes, values_mk: Sequence[float], chart: Chart) -> None:
    axes.set_ylabel("check standard, by its certificate\nminus by the reference / mK")
    axes.set_xlabel("run")
    for number, (value_mk, mark) in enumerate(zip(values_mk, chart.marks, strict=True), 1):
        shape, colour = _SHAPES[mark]
        axes.plot([number], [value_mk], marker=shape, color=colour, markersize=4.5)
    if chart.baseline >= PROVISIONAL:
        axes.axhline(chart.mean, color=SOFT, linewidth=0.6)
        for times, dashes in ((2.0, (0, (1, 2))), (3.0, (0, (5, 2)))):
            for side in (-1.0, 1.0):
                axes.axhline(chart.mean + side * times * chart.s, color=SOFT, linewidth=0.6, linestyle=dashes)
    axes.locator_params(axis="x", integer=True)
    axes.set_title(f"control chart: {chart.sentence}", loc="left", fontsize=7)
    quiet(axes)


def draw_past(past: Past, check: CheckStandard | None, stem: Path, *, simulated: bool) -> tuple[Path, Path]:
    """The check standard's control chart beside the R0 of every thermometer; raises OSError."""
    with style():
        figure = new_figure(10.0, 3.3)
        left, right = figure.subplots(1, 2)
        if check is not None:
            _draw_chart(left, check.differences_mk, check.chart)
        else:
            left.set_axis_off()
        _draw_every_r0(right, past)
        if simulated:
            mark_simulated(figure, SIMULATED)
        return save(figure, stem)


def _draw_every_r0(axes: Axes, past: Past) -> None:
    for place, item in enumerate(one for one in past.newest if one.r0_ohm is not None):
        known = [(visit.opened, visit.r0_ohm) for visit in past.of(item.serial) if visit.r0_ohm is not None]
        since_mk = [1e3 * (ohm / known[0][1] - 1.0) / _ALPHA for _, ohm in known]
        days: list[Any] = [day for day, _ in known]
        marker, colour = _MARKERS[place % len(_MARKERS)], _COLOURS[place % len(_COLOURS)]
        axes.plot(
            days, since_mk, color=colour, marker=marker, markersize=3.5, linewidth=0.8, label=item.serial
        )
    axes.set_title("R₀ since the first run, at the end of each", loc="left", fontsize=7)
    axes.set_ylabel("R₀ since the first run / mK")
    axes.tick_params(axis="x", rotation=20)
    axes.legend(loc="center left", bbox_to_anchor=(1.01, 0.5))
    quiet(axes)
