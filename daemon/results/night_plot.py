"""The picture of the night: temperatures, what stood beside, phases, states, verdicts; below, every soak."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from daemon.channels import ITEM_ROLES
from daemon.preparation import channels_of
from daemon.results import beside_panels, night_marks, soak_panels
from daemon.results.judgement import SIMULATED
from daemon.results.plot_style import HALO, INK, ORANGE, SOFT, mark_simulated, new_figure, quiet, save, style
from daemon.results.story import Story
from daemon.results.traces import Trace, bundle, extremes
from plans.run_plan import RunPlan

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_WIDTH_IN, _NIGHT_IN, _STRIP_IN, _PANEL_IN = 10.0, 4.6, 0.75, 1.55
_COLUMNS = 500
_HOUR_S = 3600.0


def draw_night(run: RunPlan, story: Story, stem: Path) -> tuple[Path, Path]:
    """Draw the night of a record; returns the paths of SVG and PNG."""
    panels = soak_panels.panels_of(story)
    across = 3 if len(panels) <= 12 else 4
    down = math.ceil(len(panels) / across)
    beside = beside_panels.strips_of(story)
    night_in = _NIGHT_IN + _STRIP_IN * len(beside)
    with style():
        figure = new_figure(_WIDTH_IN, night_in + _PANEL_IN * down + (0.3 if down else 0.0))
        parts: Any = (
            figure.subfigures(2, 1, height_ratios=(night_in, _PANEL_IN * down + 0.3)) if down else None
        )
        top = figure if parts is None else parts[0]
        ratios = (1.0, *[0.2] * len(beside), 0.13)
        above, *narrow, strip = top.subplots(len(ratios), 1, sharex=True, height_ratios=ratios)
        _temperatures(above, run, story)
        for axes, quantities in zip(narrow, beside, strict=True):
            beside_panels.draw(axes, quantities, story.end_s)
        night_marks.draw(above, strip, story)
        if parts is not None:
            soak_panels.draw(parts[1], run, story, panels, across, down)
        if story.simulated:
            mark_simulated(figure, SIMULATED)
        return save(figure, stem)


def _temperatures(axes: Axes, run: RunPlan, story: Story) -> None:
    channels = channels_of(run)
    measured = story.traces.temperatures_c(channels, discarded=True)
    end_s = max(story.end_s, 1.0)
    items = [trace for c, trace in measured.items() if channels[c].role in ITEM_ROLES and len(trace.when_s)]
    if items:
        middle, lowest, highest = bundle(items, 0.0, end_s, _COLUMNS)
        label = f"thermometers under test ({len(items)}), lowest to highest"
        axes.fill_between(middle / _HOUR_S, lowest, highest, color=SOFT, linewidth=0.8, label=label)
    reference = measured.get(run.plan.reference.channel, Trace(np.empty(0), np.empty(0)))
    controller, set_point = story.traces.controller_c, story.traces.set_point_c
    _line(axes, controller, end_s, color=HALO, linewidth=4.0, label="controller's display", zorder=1.8)
    _line(axes, reference, end_s, color=ORANGE, linewidth=1.4, label="reference thermometer")
    _line(
        axes,
        set_point,
        end_s,
        color=INK,
        linewidth=0.8,
        linestyle=":",
        label="set-point",
        drawstyle="steps-post",
    )
    _limits(axes, (controller, set_point, reference))
    quiet(axes)
    axes.set_ylabel("temperature / °C")


def _line(axes: Axes, trace: Trace, end_s: float, **how: object) -> None:
    drawn = extremes(trace, 0.0, end_s, _COLUMNS)
    axes.plot(drawn.when_s / _HOUR_S, drawn.value, **how)  # type: ignore[arg-type]


def _limits(axes: Axes, traces: tuple[Trace, ...]) -> None:
    # A broken item may read anything: the bench's own temperatures set the scale.
    values = [float(edge) for t in traces if len(t.value) for edge in (t.value.min(), t.value.max())]
    if values:
        room_k = 0.05 * (max(values) - min(values)) + 1.0
        axes.set_ylim(min(values) - room_k, max(values) + 3.2 * room_k)
