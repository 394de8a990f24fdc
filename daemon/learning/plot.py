"""The picture of what was learned: one night beside the simulated source that was given its orders."""

from __future__ import annotations

from pathlib import Path

from daemon.learning.learn import CannotLearn
from daemon.learning.night import Night
from daemon.learning.response import follow
from daemon.results.judgement import SIMULATED
from daemon.results.plot_style import BLUE, INK, ORANGE, mark_simulated, new_figure, quiet, save, style
from daemon.results.traces import Trace, extremes
from plans.learned import Learned

_HOUR_S = 3600.0
_COLUMNS = 900


def draw_learned(night: Night, learned: Learned, stem: Path) -> tuple[Path, Path]:
    """Draw display, simulated display and their difference; returns SVG and PNG.

    Raises CannotLearn, OSError.
    """
    if learned.display is None or not learned.response:
        raise CannotLearn("there is nothing to draw: these nights tell too little of the source's answer")
    followed = follow(night, learned.display, learned.response)
    hours = followed.when_s / _HOUR_S
    off = Trace(hours, followed.simulated_c - followed.recorded_c)
    with style():
        figure = new_figure(10.0, 4.6)
        above, below = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": (2, 1)})
        above.plot(hours, followed.recorded_c, color=INK, linewidth=1.4, label="display, recorded")
        above.plot(
            hours, followed.simulated_c, color=ORANGE, linewidth=0.9, linestyle=(0, (4, 2)), label="simulated"
        )
        above.set_ylabel("t / °C")
        above.set_title(f"{learned.about.bench}: the recorded night and the simulated source", loc="left")
        above.legend(loc="upper right")
        drawn = extremes(off, hours[0], hours[-1], _COLUMNS)
        below.plot(drawn.when_s, drawn.value, color=BLUE, linewidth=0.8)
        below.set_ylabel("simulated − recorded / K")
        below.set_xlabel("h since the record was opened")
        for axes in (above, below):
            quiet(axes)
        if learned.about.simulated:
            mark_simulated(figure, SIMULATED)
        return save(figure, stem)
