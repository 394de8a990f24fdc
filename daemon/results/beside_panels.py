"""What readout, ambient monitor and interlocks showed: a narrow strip for each of them and each unit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from daemon.results.plot_style import BLUE, GREEN, INK, ORANGE, SMALL_PT, quiet
from daemon.results.story import Story
from daemon.results.traces import Quantity, Trace, extremes
from drivers.quantities import UNITS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_COLUMNS = 500
_HOUR_S = 3600.0
_STYLES = ((BLUE, "-"), (ORANGE, (0, (4, 1))), (GREEN, (0, (1, 1))), (INK, (0, (4, 1, 1, 1))))

Strip = list[tuple[Quantity, Trace]]


def strips_of(story: Story) -> list[Strip]:
    """What is drawn together: the quantities of one instrument in one unit; empty when there are none."""
    strips: dict[tuple[str, str], Strip] = {}
    for quantity, trace in story.traces.beside.items():
        strips.setdefault((quantity.role, quantity.unit), []).append((quantity, trace))
    return list(strips.values())


def draw(axes: Axes, strip: Strip, end_s: float) -> None:
    """Draw one strip over the hours of the night."""
    for number, (quantity, trace) in enumerate(strip):
        colour, dashes = _STYLES[number % len(_STYLES)]
        few = extremes(trace, 0.0, max(end_s, 1.0), _COLUMNS)
        drawn = "steps-post" if quantity.is_state else "default"
        hours = few.when_s / _HOUR_S
        axes.plot(
            hours, few.value, color=colour, linestyle=dashes, lw=0.9, label=quantity.spoken, drawstyle=drawn
        )
    first = strip[0][0]
    if first.is_state:
        axes.set_ylim(-0.3, 2.0)
        axes.set_yticks([0.0, 1.0], ["off", "on"])
    else:
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + 0.5 * (high - low))  # room for the names
        axes.locator_params(axis="y", nbins=3)
        axes.ticklabel_format(axis="y", useOffset=False)
    quiet(axes)
    unit = "" if first.is_state else f"\n/ {UNITS.get(first.unit, first.unit)}"
    axes.set_ylabel(f"{first.role}{unit}", fontsize=SMALL_PT)
    axes.legend(
        loc="upper right",
        ncols=4,
        handlelength=1.6,
        frameon=True,
        framealpha=0.8,
        edgecolor="none",
        borderpad=0.1,
    )
