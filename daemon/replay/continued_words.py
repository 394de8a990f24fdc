"""A continued replay for people: what is simulated and from when on, and the two courses side by side."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from daemon.replay.continued import LONGEST_S, Continued, Course
from daemon.replay.difference import since
from daemon.results.numbers import counted, duration, true_minus
from daemon.results.phases import PointPath

_SHOWN = 8


def continued_lines(found: Continued) -> list[str]:
    """The comparison as lines; everything behind `from_s` is marked as simulated."""
    from_s, simulated = found.from_s, found.simulated
    lines = [
        "",
        f"SIMULATED from {since(from_s)} on: nothing behind it was measured, none of it is a calibration.",
        f"  source    {_source(found)}",
    ]
    if found.step_k is not None:
        lines.append(
            f"  display   {true_minus(f'{found.step_k:+.3f}')} K from the recorded one at that moment"
        )
    lines.append(f"  {'':<22}{'recorded':<24}simulated")
    rows = [("end", _end(found.recorded), _end(simulated) if found.over else _held(simulated))]
    rows += [_point(index, found) for index in range(max(len(found.recorded.points), len(simulated.points)))]
    lines += [f"  {name:<22}{then:<24}{now}" for name, then, now in rows]
    return [*lines, *_verdicts(found)]


def _source(found: Continued) -> str:
    if not found.fitted:
        return f"not fitted: {found.unfitted}"
    factors = (f"{part.replace('_', ' ')} × {value:.3f}" for part, value in found.fitted.items())
    return f"fitted to this record: {', '.join(factors)}"


def _end(course: Course) -> str:
    return f"{course.state}, {duration(course.ended_s)}"


def _held(course: Course) -> str:
    return f"{course.state}: waits for a person after {duration(LONGEST_S)}"


def _point(index: int, found: Continued) -> tuple[str, str, str]:
    points = [course.points[index : index + 1] for course in (found.recorded, found.simulated)]
    (then, now), known = points, next(point for point in points if point)[0]
    name = f"point {index + 1}, {true_minus(f'{known.temperature_c:g}')} °C"
    if now and now[0].ended_s is not None and now[0].ended_s <= found.from_s:
        return name, _ended(then), "as recorded"
    later = ""
    if then and now and then[0].ended == now[0].ended and then[0].ended_s and now[0].ended_s:
        later = f" ({true_minus(f'{(now[0].ended_s - then[0].ended_s) / 60.0:+.1f}')} min)"
    return name, _ended(then), f"{_ended(now)}{later}"


def _ended(points: tuple[PointPath, ...]) -> str:
    if not points:
        return "never begun"
    point = points[0]
    return f"{point.ended} {since(point.ended_s)}" if point.ended_s is not None else "not finished"


def _verdicts(found: Continued) -> Iterator[str]:
    """What was said on one side only, behind the moment at which they part."""
    sides = []
    for course in (found.recorded, found.simulated):
        said = [verdict for verdict in course.verdicts if verdict.since_start_s >= found.from_s]
        sides.append(Counter((verdict.guard, verdict.reaction) for verdict in said))
    for (guard, reaction), _ in (sides[0] + sides[1]).most_common(_SHOWN):
        then, now = (counted(side[guard, reaction], "time") for side in sides)
        yield f"  guard {guard} ({reaction}): recorded {then}, simulated {now}"
