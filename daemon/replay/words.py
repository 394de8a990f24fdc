"""What a replay found, for people: the first difference with its context, and what stays unknowable."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from daemon.journal.entry import Kind
from daemon.journal.read import read_entries
from daemon.replay.difference import CHANGED, MISSING, Difference, since
from daemon.replay.replay import Replayed
from daemon.replay.results import ResultChange
from daemon.results.numbers import counted, day_and_clock, duration, significant

_SHOWN = 5


def verdict_lines(found: Replayed) -> list[str]:
    """In one line whether everything came out the same; then the first difference, and how many follow."""
    compared = f"{counted(found.decisions, 'decision')} over {duration(found.replayed_s)}"
    if found.identical:
        return [f"SAME: {compared}, bit for bit."]
    first = found.differences[0]
    lines = [f"DIFFERENT: {compared} came out the same, {counted(len(found.differences), 'did', 'did')} not."]
    lines += ["", "First difference", *_told(first)]
    others = found.differences[1:]
    if others:
        lines += ["", "Then", *(f"  {one_line(other)}" for other in others[:_SHOWN])]
    if len(others) > _SHOWN:
        lines.append(f"  and {len(others) - _SHOWN} more (--json has all)")
    return lines


def one_line(difference: Difference) -> str:
    """When, and what was decided then and now."""
    when = f"{since(difference.since_start_s)} (entry {difference.seq})"
    if difference.what == MISSING:
        return f"{when}  not decided now: {difference.recorded}"
    if difference.what == CHANGED:
        return f"{when}  then: {difference.recorded}; now: {difference.now}"
    return f"{when}  only now: {difference.now}"


def _told(first: Difference) -> list[str]:
    lines = [
        f"  at        {since(first.since_start_s)} after the start, {day_and_clock(first.utc_s)}, "
        f"entry {first.seq}",
        f"  recorded  {first.recorded}",
        f"  today     {first.now}",
    ]
    lines += ["  before it stood", *(f"    {line}" for line in first.before)]
    return [*lines, "  and the record goes on", *(f"    {line}" for line in first.after)]


def unknowable_lines(record: Path, found: Replayed) -> list[str]:
    """What the record cannot say about the changed night; raises RecordError."""
    parted = found.parted
    if parted is None:
        if found.identical:
            return []
        return ["", "The run itself would have gone the same way to its end: only what was said differs."]
    kept, lost = _points(record, parted.seq)
    left_s = found.lasted_s - parted.since_start_s
    lines = [
        "",
        f"Unknowable from {since(parted.since_start_s)} on ({day_and_clock(parted.utc_s)}): "
        "the run would have gone another way from there.",
        "What source and thermometers would have shown then was never measured; the recorded "
        f"{duration(left_s)} after it answer other commands.",
        f"Known: {_named(kept)} as recorded. Unknown: {_named(lost)}, everything after, and so any result.",
    ]
    return lines


def _points(record: Path, seq: int) -> tuple[list[str], list[str]]:
    kept: list[str] = []
    lost: list[str] = []
    for entry in read_entries(record, frozenset({Kind.MILESTONE})):
        if entry.body["mark"] == "point_finished":
            (kept if entry.seq < seq else lost).append(str(entry.body["index"] + 1))
    return kept, lost


def _named(points: Sequence[str]) -> str:
    if not points:
        return "no point"
    return f"point {points[0]}" if len(points) == 1 else f"points {', '.join(points)}"


def result_lines(changes: Sequence[ResultChange]) -> list[str]:
    """One line for each version that is the same, more for a thermometer that is not."""
    if not changes:
        return ["Results: neither a report beside the record nor an acceptance in it to compare with."]
    lines = []
    for version in dict.fromkeys(change.version for change in changes):
        own = [change for change in changes if change.version == version]
        points = sum(change.points for change in own)
        other = [change for change in own if not change.same]
        if not other:
            lines.append(
                f"Results ({version}): {counted(len(own), 'thermometer')}, {counted(points, 'point')}, "
                "the same to the last digit (0 mK)."
            )
        lines += [line for change in other for line in _result(change)]
    return lines


def _result(change: ResultChange) -> list[str]:
    lines = [
        f"OTHER RESULT ({change.version}), {change.serial}: {change.curve or 'same characteristic'}; "
        f"{change.points} of {change.points_then} points compared, temperatures up to "
        f"{significant(change.temperature_mk)} mK and resistances up to "
        f"{significant(change.resistance_mk)} mK apart"
    ]
    differing = [c for c in change.coefficients if c.then != c.now]
    return lines + [f"  {c.name:<8} then {c.then!r}, now {c.now!r}" for c in differing]
