"""One small picture a point: how far each thermometer stood from its own mean while soaking and reading."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from daemon.channels import ITEM_ROLES
from daemon.preparation import channels_of
from daemon.results.numbers import point_name
from daemon.results.phases import PointPath
from daemon.results.plot_style import BODY_PT, ORANGE, SMALL_PT, SOAK, SOFT, quiet
from daemon.results.story import Story
from daemon.results.traces import Trace, extremes
from plans.run_plan import RunPlan

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_UNSETTLED_SHOWN_S = 600.0
_COLUMNS = 150
_SMALLEST_MK = 1.0
_STYLES = ("-", (0, (4, 1)), (0, (1, 1)), (0, (4, 1, 1, 1)))


def panels_of(story: Story) -> list[PointPath]:
    """The points that came to their readings, each by its last attempt, in order."""
    last = {path.index: path for path in story.phases.points if path.sequence_s is not None}
    return [last[index] for index in sorted(last)]


def draw(part: Any, run: RunPlan, story: Story, points: list[PointPath], across: int, down: int) -> None:
    """Draw the panels into a sub-figure, row by row."""
    channels = channels_of(run)
    shown = [c for c, facts in channels.items() if facts.role == "reference" or facts.role in ITEM_ROLES]
    measured = story.traces.temperatures_c({c: channels[c] for c in shown}, discarded=False)
    grid = part.subplots(down, across, squeeze=False)
    for place, axes in enumerate(grid.flat):
        if place >= len(points):
            axes.set_axis_off()
            continue
        _panel(axes, points[place], measured, run.plan.reference.channel, story.end_s)
        if place % across == 0:
            axes.set_ylabel("deviation / mK")
        if place + across >= len(points):
            axes.set_xlabel("minutes from the first reading")
    part.suptitle(
        "Each point's soak and readings: deviation from the thermometer's own mean, reference (thick) and "
        "thermometers under test (thin); shaded while reading",
        fontsize=BODY_PT,
    )


def _panel(
    axes: Axes, point: PointPath, measured: dict[int, Trace], reference_channel: int, record_end_s: float
) -> None:
    assert point.sequence_s is not None
    begin_s = point.settled_s if point.settled_s is not None else point.sequence_s - _UNSETTLED_SHOWN_S
    end_s = point.ended_s if point.ended_s is not None else record_end_s
    for number, (channel, trace) in enumerate(measured.items()):
        own = trace.between(begin_s, end_s)
        if not len(own.value):
            continue
        drawn = extremes(Trace(own.when_s, 1e3 * (own.value - own.value.mean())), begin_s, end_s, _COLUMNS)
        minutes = (drawn.when_s - point.sequence_s) / 60.0
        if channel == reference_channel:
            axes.plot(minutes, drawn.value, color=ORANGE, linewidth=1.3, zorder=3)
        else:
            axes.plot(
                minutes, drawn.value, color=SOFT, linewidth=0.5, linestyle=_STYLES[number % 4], alpha=0.9
            )
    axes.axvspan(0.0, (end_s - point.sequence_s) / 60.0, color=SOAK, alpha=0.45, lw=0)
    axes.axhline(0.0, color=SOFT, linewidth=0.4)
    axes.set_xlim((begin_s - point.sequence_s) / 60.0, (end_s - point.sequence_s) / 60.0)
    low, high = axes.get_ylim()
    axes.set_ylim(min(low, -_SMALLEST_MK), max(high, _SMALLEST_MK))
    quiet(axes)
    axes.locator_params(axis="x", integer=True, nbins=6)
    unsettled = "" if point.settled_s is not None else ": no equilibrium"
    title = point_name(point.index, point.temperature_c, point.label)
    axes.set_title(f"{title}{unsettled}", fontsize=SMALL_PT, loc="left", pad=3)
