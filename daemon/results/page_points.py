"""The points on the page: proof of equilibrium for all, and one thermometer's own results."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from daemon.preparation import channels_of
from daemon.results.calibrate import NightResult
from daemon.results.gather import MeasuredPoint
from daemon.results.item_points import ItemPoint
from daemon.results.markup import Html, element, section, table
from daemon.results.numbers import UNKNOWN, clock, fixed, point_name, signed, uncertainty
from daemon.results.phases import PointPath
from daemon.results.story import Story

_APPROACHES = {
    "from_below": "from\u00a0below",
    "from_above": "from\u00a0above",
    "start": "first",
    "same": "same",
}
_DECIMALS_OF_T90 = 4


def points_section(night: NightResult, story: Story) -> Html:
    """Each finished point with what equilibrium was demanded and what was reached."""
    if not night.points:
        return section(
            "Points", element("p", "No point was finished: there is nothing to evaluate."), name="points"
        )
    header = (
        "point",
        "equilibrium",
        "finished, UTC",
        "soak / min",
        "window / min",
        "drift of reference / mK",
        "its scatter / mK",
        "drift of items / mK",
        "slowest item",
    )
    paths = {path.index: path for path in story.phases.points}
    names = {channel: facts.name for channel, facts in channels_of(night.run).items()}
    rows = [_row(point, paths[point.index], names, story) for point in night.points]
    note = (
        "Drift is the change over the window; each pair is reached / allowed, judged from the thermometers' "
        "own readings."
    )
    parts = [table(header, rows, words=2), element("p", note, cls="quiet"), *_references(night)]
    return section("Points", *parts, name="points")


def _references(night: NightResult) -> list[Html]:
    """How far the references are apart; the mean of all is the temperature."""
    if not night.references:
        return []
    first = night.run.reference.serial
    header = ("further reference", "point", f"{first} / °C", f"minus {first} / mK", "room / mK", "agree")
    rows = [
        [
            one.serial,
            str(one.index + 1),
            fixed(one.temperature_c, _DECIMALS_OF_T90),
            signed(one.difference_mk, 2),
            f"±{fixed(one.allowed_mk, 1)}",
            "yes" if one.agrees else "NO",
        ]
        for one in night.references
    ]
    note = (
        "The temperature of each point is the mean of all references; room is what the uncertainties "
        "of their certificates leave, half the largest difference is in the budget."
    )
    return [table(header, rows, words=2), element("p", note, cls="quiet")]


def _row(point: MeasuredPoint, path: PointPath, names: Mapping[int, str], story: Story) -> list[str]:
    demanded: Mapping[str, Any] = point.evidence.get("demanded", {})
    reached: Mapping[str, Any] = point.evidence.get("reached", {})
    finished_s = path.ended_s if path.ended_s is not None else story.end_s
    again = f", again after {point.soaked_again} interruption(s)" if point.soaked_again else ""
    return [
        point_name(point.index, point.temperature_c, point.label),
        ("reached" if point.settled else "not reached: excluded") + again,
        clock(story.utc_s(finished_s)),
        _minutes(path.settled_s, path.sequence_s),
        fixed(demanded["window_s"] / 60.0, 0) if demanded else UNKNOWN,
        _pair(reached, demanded, "drift_mk"),
        _pair(reached, demanded, "scatter_mk"),
        _pair(reached, demanded, "item_drift_mk"),
        names.get(reached.get("worst_channel", 0), UNKNOWN),
    ]


def _minutes(settled_s: float | None, sequence_s: float | None) -> str:
    return UNKNOWN if settled_s is None or sequence_s is None else fixed((sequence_s - settled_s) / 60.0, 0)


def _pair(reached: Mapping[str, Any], demanded: Mapping[str, Any], key: str) -> str:
    return f"{fixed(reached.get(key), 2)} / {demanded[key]:g}" if demanded else UNKNOWN


def item_point_table(points: Sequence[ItemPoint]) -> Html:
    """One thermometer's points; nothing when it has none."""
    if not points:
        return element("p", "No reading of this thermometer was evaluated at any finished point.")
    header = (
        "point",
        "approach",
        "in the fit",
        "t₉₀ of reference / °C",
        "R / Ω",
        "residual / mK",
        "U / mK",
    )
    return table(header, [_item_row(point) for point in points], words=3)


def _in_the_fit(point: ItemPoint) -> str:
    if point.excluded_because:
        return f"no: {point.excluded_because}"
    return UNKNOWN if point.budget is None else "yes"


def _item_row(point: ItemPoint) -> list[str]:
    reduced = point.reduced
    return [
        point_name(reduced.index, reduced.set_temperature_c, reduced.label),
        _APPROACHES[point.approach],
        _in_the_fit(point),
        fixed(reduced.temperature_c, _DECIMALS_OF_T90),
        fixed(reduced.resistance_ohm, 5 if reduced.sensitivity_ohm_per_k < 1.0 else 4),
        signed(point.residual_mk, 2),
        uncertainty(point.expanded_mk, ""),
    ]
