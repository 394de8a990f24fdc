"""The reading sequence: symmetrical in time, so that linear drift of the source cancels.

Each cycle visits S U1 … Un Un … U1 S: the mean time of both visits to any thermometer is the same. With the
current reversed, a visit on the way out reads one way and then the other, a visit on the way back the other
way round, so that both ways have the same mean time too.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import dataclass

from daemon.actions import Action, Mark, Measure
from daemon.observations import Observation
from daemon.procedure.script import Point
from daemon.procedure.watching import Watching

Visits = Generator[Action, Observation, dict[int, list[float]]]


@dataclass(frozen=True, slots=True)
class Visit:
    """One visit to a channel: its number in the cycle from 1, whether on the way out, after which channel."""

    number: int
    channel: int
    outward: bool
    before: int


def sequence(watching: Watching, point: Point) -> Visits:
    """All cycles of a point; after each switch of channel the first readings are discarded.

    Returns the temperatures read, in °C by channel.
    """
    read: dict[int, list[float]] = {}
    for cycle in range(1, point.cycles + 1):
        for visit in visits(symmetrical(watching)):
            found = yield from read_visit(watching, point, visit, cycle, "sequence", point.current_ma)
            read.setdefault(visit.channel, []).extend(found)
        yield Mark("cycle_finished", {"index": point.index, "cycle": cycle, "of": point.cycles})
    return {channel: found for channel, found in read.items() if found}


def self_heating(watching: Watching, point: Point, second_ma: float) -> Generator[Action, Observation, None]:
    """The same cycles at the second current and at the first again, the reference always at the first.

    Warming by a changed current takes its time: the first readings of each visit to an item are discarded.
    """
    yield Mark("self_heating_started", {"index": point.index, "second_current_ma": second_ma})
    reference = watching.script.reference_channel
    for cycle in range(1, point.cycles + 1):
        for current_ma in (second_ma, point.current_ma):
            use = f"self_heating_{current_ma:g}_ma"
            for visit in visits(symmetrical(watching)):
                own_ma = point.current_ma if visit.channel == reference else current_ma
                warming = 0 if visit.channel == reference else point.discard_after_current
                yield from read_visit(watching, point, visit, cycle, use, own_ma, warming)
    yield Mark("self_heating_finished", {"index": point.index})


def read_visit(
    watching: Watching,
    point: Point,
    visit: Visit,
    cycle: int,
    use: str,
    current_ma: float,
    warming: int = 0,
) -> Generator[Action, Observation, list[float]]:
    """One visit, unless its channel was left out; `warming` readings are thrown away in any case.

    Returns the temperatures read, in °C.
    """
    read: list[float] = []
    if visit.channel in watching.left_out:
        return read
    for place, way in enumerate(_ways(point, visit)):
        switched = place > 0 or visit.channel != visit.before
        discard = _discard(watching, point, visit.channel) if switched else 0
        discard = max(discard, warming if place == 0 else 0)
        for reading in range(discard + point.readings_per_visit):
            kept = "discard" if reading < discard else use
            observation = yield Measure(visit.channel, way * current_ma, kept, cycle, visit.number)
            good = yield from watching.take(observation)
            if good is not None and kept == use:
                read.append(watching.temperatures_c[visit.channel])
    return read


def visits(channels: tuple[int, ...]) -> Iterator[Visit]:
    """The visits of one cycle; the way back begins in the middle."""
    before = 0
    for number, channel in enumerate(channels, start=1):
        yield Visit(number, channel, 2 * number <= len(channels), before)
        before = channel


def symmetrical(watching: Watching) -> tuple[int, ...]:
    """Channels of one cycle in their order."""
    reference, items = watching.script.reference_channel, watching.items
    return (reference, *items, *reversed(items), reference)


def _ways(point: Point, visit: Visit) -> tuple[float, ...]:
    if not point.reverse_current:
        return (1.0,)
    return (1.0, -1.0) if visit.outward else (-1.0, 1.0)


def _discard(watching: Watching, point: Point, channel: int) -> int:
    return max(point.discard_after_switch, watching.script.channels[channel].discards)
