"""What is written over the night's curves: point labels, verdicts, phases and states, and the UTC clock."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from daemon.journal.entry import Kind
from daemon.results.numbers import true_minus
from daemon.results.plot_style import INK, PALE, RED, SMALL_PT, SOAK, SOFT
from daemon.results.story import Said, Story

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_HOUR_S = 3600.0
_PHASES = {
    "approach": ("#ffffff", "///"),
    "settling": ("#eceef1", ""),
    "soak": (SOAK, ""),
    "readings": ("#4f7fa6", ""),
    "parking": ("#ffffff", "..."),
}
_STATES = {
    "idle": "#ffffff",
    "running": "#dfe9df",
    "holding": "#f1d9a0",
    "parking": "#e8b08a",
    "cut": "#c46a6a",
    "interrupted": "#cfc6dd",
    "parked": "#e8e8e8",
    "finished": "#b9d3b9",
}
_REACTIONS = {"mark": (SOFT, ":"), "hold": (RED, "-."), "park": (RED, "--"), "cut": (RED, "-")}
_STEPS_H = (1 / 60, 1 / 12, 0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 12.0)
_NAMES_APART = 0.018


def draw(axes: Axes, strip: Axes, story: Story) -> None:
    """Write everything over `axes`, the night's curves, and fill `strip`, the two rows below."""
    hours = max(story.end_s / _HOUR_S, 0.02)
    axes.set_xlim(0.0, hours)
    for span in story.phases.done:
        if span.name in ("soak", "readings"):
            shade = 0.35 if span.name == "soak" else 0.75
            axes.axvspan(
                span.start_s / _HOUR_S, span.end_s / _HOUR_S, color=_PHASES["soak"][0], alpha=shade, lw=0
            )
    _name_points(axes, story)
    _verdicts(axes, story, hours)
    _strip(strip, story, hours)
    _utc(axes, story, hours)
    legend = axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.1), ncols=4, handlelength=2.6)
    legend.set_in_layout(True)


def _name_points(axes: Axes, story: Story) -> None:
    for point in {path.index: path for path in story.phases.points}.values():
        end_s = max((s.end_s for s in story.phases.done if s.index == point.index), default=point.started_s)
        start_s = point.arrived_s if point.arrived_s is not None else point.started_s
        text = true_minus(f"{point.temperature_c:g} °C")
        at = (0.5 * (start_s + end_s) / _HOUR_S, point.temperature_c)
        style = {"ha": "center", "va": "bottom", "fontsize": SMALL_PT, "linespacing": 1.1}
        axes.annotate(f"{point.index + 1}\n{text}", at, (0, 6), textcoords="offset points", **style)  # type: ignore[arg-type]


def _verdicts(axes: Axes, story: Story, hours: float) -> None:
    named: list[Said] = []
    for verdict in story.of_kind(Kind.VERDICT):
        colour, dashes = _REACTIONS[verdict.body["reaction"]]
        axes.axvline(verdict.when_s / _HOUR_S, color=colour, linestyle=dashes, linewidth=0.9)
        if not named or verdict.when_s - named[-1].when_s > _NAMES_APART * hours * _HOUR_S:
            named.append(verdict)
    for verdict in named:
        _name_verdict(axes, verdict, _close_to(verdict, story, hours), hours)


def _close_to(first: Said, story: Story, hours: float) -> int:
    """How many more verdicts stand so near that their names would cover each other."""
    until_s = first.when_s + _NAMES_APART * hours * _HOUR_S
    return sum(first.when_s < one.when_s <= until_s for one in story.of_kind(Kind.VERDICT))


def _name_verdict(axes: Axes, verdict: Said, more: int, hours: float) -> None:
    right = verdict.when_s / _HOUR_S > 0.97 * hours
    axes.annotate(
        f"{verdict.body['guard']}: {verdict.body['reaction']}" + (f" (+{more})" if more else ""),
        (verdict.when_s / _HOUR_S, 0.985),
        (-3 if right else 3, 0),
        xycoords=axes.get_xaxis_transform(),
        textcoords="offset points",
        rotation=90,
        va="top",
        ha="right" if right else "left",
        fontsize=SMALL_PT,
        color=_REACTIONS[verdict.body["reaction"]][0],
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.6},
    )


def _strip(axes: Axes, story: Story, hours: float) -> None:
    for span in story.phases.done:
        colour, hatch = _PHASES[span.name]
        _block(axes, span.start_s, span.end_s, 1.0, colour, hatch)
    for span in story.phases.states:
        _block(axes, span.start_s, span.end_s, 0.0, _STATES[span.name], "")
        if span.end_s - span.start_s > 0.06 * hours * _HOUR_S:
            middle_h = 0.5 * (span.start_s + span.end_s) / _HOUR_S
            axes.text(middle_h, 0.4, span.name, ha="center", va="center", fontsize=SMALL_PT)
    for gap in story.gaps:
        _block(axes, gap.start_s, gap.end_s, 0.0, "#ffffff", "xxxx")
    axes.set_ylim(-0.1, 1.9)
    axes.set_yticks([0.4, 1.4], ["state", "phase"])
    axes.tick_params(length=0, axis="y")
    axes.tick_params(length=2.5, axis="x")
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.set_xlabel("hours since the start")
    step_h = next((s for s in _STEPS_H if hours / s <= 20), 24.0)
    ticks = [step_h * i for i in range(int(hours / step_h + 1e-9) + 1)]
    axes.set_xticks(ticks, [f"{t:.0f}" if step_h >= 1.0 else _as_clock(t).removeprefix("0") for t in ticks])
    _phase_key(axes)


def _block(axes: Axes, start_s: float, end_s: float, bottom: float, colour: str, hatch: str) -> None:
    axes.broken_barh(
        [(start_s / _HOUR_S, (end_s - start_s) / _HOUR_S)],
        (bottom, 0.8),
        facecolor=colour,
        edgecolor=SOFT if hatch else PALE,
        hatch=hatch,
        linewidth=0.3,
    )


def _phase_key(axes: Axes) -> None:
    from matplotlib.patches import Patch

    keys = [
        Patch(facecolor=colour, hatch=hatch, edgecolor=SOFT, linewidth=0.4, label=name)
        for name, (colour, hatch) in _PHASES.items()
    ]
    axes.legend(handles=keys, loc="upper right", bbox_to_anchor=(1.0, -0.55), ncols=5, handlelength=1.4)


def _utc(axes: Axes, story: Story, hours: float) -> None:
    twin = axes.twiny()
    twin.set_xlim(0.0, hours)
    step_h = next((s for s in _STEPS_H if hours / s <= 12), 24.0)
    start_h = (story.opening.utc_s % 86400.0) / _HOUR_S
    first = math.ceil(start_h / step_h - 1e-9)
    clock_h = [step_h * (first + i) for i in range(int(hours / step_h) + 1)]
    clock_h = [h for h in clock_h if h - start_h <= hours]
    twin.set_xticks([h - start_h for h in clock_h], [_as_clock(h) for h in clock_h])
    twin.set_xlabel(f"UTC, begun {story.opening.utc:%Y-%m-%d %H:%M}", color=INK)
    twin.spines[["left", "right", "bottom"]].set_visible(False)
    twin.tick_params(length=2.5, width=0.5)


def _as_clock(hours: float) -> str:
    minutes = round(hours * 60.0)
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"
