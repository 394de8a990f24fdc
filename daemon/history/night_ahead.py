"""The night before it begins, as a picture: temperature over time, limits, and until when a person stays."""

from __future__ import annotations

from pathlib import Path

from daemon.results.plot_style import (
    BLUE,
    GREEN,
    RED,
    SMALL_PT,
    SOAK,
    SOFT,
    mark_simulated,
    new_figure,
    quiet,
    save,
    style,
)
from daemon.timetable import Row, Timetable
from plans.run_plan import RunPlan

_HOUR_S = 3600.0


def draw_timetable(run: RunPlan, timetable: Timetable, stem: Path) -> tuple[Path, Path]:
    """Write `stem`.svg and `stem`.png; raises OSError."""
    with style():
        figure = new_figure(7.5, 3.6)
        axes = figure.subplots()
        times_h, temperatures_c = _course(run, timetable)
        axes.plot(times_h, temperatures_c, color=BLUE, linewidth=1.4)
        for row in timetable.rows:
            if row.sequence_s > 0.0:
                reads_h = ((row.to_s - row.sequence_s) / _HOUR_S, row.to_s / _HOUR_S)
                axes.axvspan(*reads_h, color=SOAK, lw=0)
        stay_h = timetable.attended_until_s / _HOUR_S
        axes.axvline(stay_h, color=GREEN, linewidth=1.0, linestyle=(0, (4, 2)))
        place = {
            "xycoords": ("data", "axes fraction"),
            "color": GREEN,
            "fontsize": SMALL_PT,
            "rotation": 90.0,
        }
        axes.annotate("stay until here", (stay_h, 0.98), va="top", ha="right", **place)  # type: ignore[arg-type]
        limit = run.rating.highest
        axes.axhline(limit.value, color=RED, linewidth=1.0)
        axes.annotate(
            f"{limit.owner}: {limit.value:g} °C",
            (0.0, limit.value),
            color=RED,
            fontsize=SMALL_PT,
            va="top",
        )
        head_c = min(one.head_maximum_c for one in run.thermometers)
        axes.axhline(head_c, color=SOFT, linewidth=0.6, linestyle=(0, (1, 2)))
        axes.set_xlabel("hours from the start (shaded: readings)")
        axes.set_ylabel("t₉₀ / °C")
        axes.set_title(f"{run.plan.header.title}: about {timetable.total_s / _HOUR_S:.1f} h", loc="left")
        quiet(axes)
        if run.bench.simulation is not None:
            mark_simulated(figure, "SIMULATED — not a calibration")
        return save(figure, stem)


def _course(run: RunPlan, timetable: Timetable) -> tuple[list[float], list[float]]:
    times_h, temperatures_c = [0.0], [run.bench.ambient_c]
    for row in timetable.rows:
        times_h += [_arrival_s(row) / _HOUR_S, row.to_s / _HOUR_S]
        temperatures_c += [row.temperature_c, row.temperature_c]
    return times_h, temperatures_c


def _arrival_s(row: Row) -> float:
    return row.from_s + row.approach_s
