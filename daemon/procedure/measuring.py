"""The reading sequence: symmetrical in time, so that linear drift of the source cancels.

Each cycle visits S U1 … Un Un … U1 S: the mean time of both visits to any thermometer is the same.
"""

from __future__ import annotations

from collections.abc import Generator

from daemon.actions import Action, Mark, Measure
from daemon.observations import Observation
from daemon.procedure.script import Point
from daemon.procedure.watching import Watching

SelfHeating = Generator[Action, Observation, None]


def sequence(watching: Watching, point: Point) -> Generator[Action, Observation, dict[int, list[float]]]:
    """All cycles of a point; after each switch of channel the first readings are discarded.

    Returns the temperatures read, in °C by channel.
    """
    read: dict[int, list[float]] = {}
    for cycle in range(1, point.cycles + 1):
        channel_before = 0
        for visit, channel in enumerate(symmetrical(watching), start=1):
            if channel in watching.left_out:
                continue
            discard = point.discard_after_switch if channel != channel_before else 0
            for reading in range(discard + point.readings_per_visit):
                use = "discard" if reading < discard else "sequence"
                observation = yield Measure(channel, point.current_ma, use, cycle, visit)
                good = yield from watching.take(observation)
                if good is not None and use == "sequence":
                    read.setdefault(channel, []).append(watching.temperatures_c[channel])
            channel_before = channel
        yield Mark("cycle_finished", {"index": point.index, "cycle": cycle, "of": point.cycles})
    return read


def self_heating(watching: Watching, point: Point, second_ma: float) -> SelfHeating:
    """The same cycles at the second current and at the first again, the reference always at the first.

    Warming by a changed current takes its time: the first readings of each visit to an item are discarded.
    """
    yield Mark("self_heating_started", {"index": point.index, "second_current_ma": second_ma})
    for cycle in range(1, point.cycles + 1):
        for current_ma in (second_ma, point.current_ma):
            yield from _at_current(watching, point, current_ma, cycle)
    yield Mark("self_heating_finished", {"index": point.index})


def _at_current(watching: Watching, point: Point, current_ma: float, cycle: int) -> SelfHeating:
    reference = watching.script.reference_channel
    for visit, channel in enumerate(symmetrical(watching), start=1):
        if channel in watching.left_out:
            continue
        own_ma = point.current_ma if channel == reference else current_ma
        discard = point.discard_after_switch if channel == reference else point.discard_after_current
        for reading in range(discard + point.readings_per_visit):
            use = "discard" if reading < discard else f"self_heating_{current_ma:g}_ma"
            observation = yield Measure(channel, own_ma, use, cycle, visit)
            yield from watching.take(observation)


def symmetrical(watching: Watching) -> tuple[int, ...]:
    """Channels of one cycle in their order."""
    reference, items = watching.script.reference_channel, watching.items
    return (reference, *items, *reversed(items), reference)
