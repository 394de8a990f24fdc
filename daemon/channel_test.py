"""Which channel carries which thermometer: each is warmed by hand, and the channel that moves is looked for.

Nothing is heated and the heat source is not spoken to. The test sees what R0 on file cannot tell apart: two
thermometers of one kind that were exchanged.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator, Mapping
from dataclasses import dataclass

from daemon.channels import ChannelFacts
from daemon.preparation import channels_of
from drivers.errors import InstrumentError
from drivers.roles import Bridge
from plans.run_plan import RunPlan

MOVED_K, CLEARLY = 0.3, 3.0
"""A hand warms a sheath by some kelvin: a rise like this counts, when it is so many times any other.

Common practice, no source.
"""

_TURNS, _LONGEST_WAIT_TURNS = 4, 200
_REST_K = 0.02  # common practice, no source
_CURRENT_MA = 1.0

Warm = Callable[[str], Awaitable[None]]
"""Has a thermometer warmed and returns once it is; it stays warmed until the next one is asked for."""


@dataclass(frozen=True, slots=True)
class Found:
    """One thermometer: the channel of the plan, and the one that moved (None: none did, or several alike)."""

    serial: str
    planned: int
    moved: int | None
    rise_k: float

    @property
    def good(self) -> bool:
        """Whether it is where the plan says."""
        return self.moved == self.planned


async def channel_test(run: RunPlan, bridge: Bridge, warm: Warm) -> list[Found]:
    """Have each thermometer warmed in turn; the reference first."""
    facts = {c: one for c, one in channels_of(run).items() if one.role != "head"}
    found = []
    for channel, one in facts.items():
        before = await _at_rest(bridge, facts)
        await warm(one.name)
        highest = dict(before)
        for _ in range(_TURNS):
            for place, t_c in (await _turn(bridge, facts)).items():
                highest[place] = max(highest.get(place, t_c), t_c)
        rises = {place: highest[place] - before[place] for place in before}
        found.append(Found(one.name, channel, *_moved(rises)))
    return found


def refusals(found: list[Found]) -> Iterator[str]:
    """What is not where it should be; an exchanged pair is named once."""
    by_serial = {one.planned: one for one in found}
    for one in found:
        other = by_serial.get(one.moved or 0)
        if one.good:
            continue
        if one.moved is None:
            yield (
                f"no single channel moved while {one.serial} was warmed (channel {one.planned} is planned): "
                "not connected, or not warmed enough"
            )
        elif other is not None and other.moved == one.planned:
            if one.planned < other.planned:
                yield (
                    f"{one.serial} and {other.serial} are exchanged: channel {one.moved} moved for the "
                    f"first, channel {other.moved} for the second"
                )
        else:
            yield f"channel {one.moved} moved while {one.serial} was warmed; the plan has it on {one.planned}"


def _moved(rises: Mapping[int, float]) -> tuple[int | None, float]:
    order = sorted(rises, key=lambda channel: -rises[channel])
    if not order or not rises[order[0]] >= MOVED_K:
        return None, rises[order[0]] if order else 0.0
    second_k = rises[order[1]] if len(order) > 1 else 0.0
    clear = rises[order[0]] >= CLEARLY * second_k
    return (order[0] if clear else None), rises[order[0]]


async def _at_rest(bridge: Bridge, facts: Mapping[int, ChannelFacts]) -> dict[int, float]:
    """The newest turn once nothing moves from turn to turn, or after the longest wait for that."""
    now = await _turn(bridge, facts)
    for _ in range(_LONGEST_WAIT_TURNS):
        before, now = now, await _turn(bridge, facts)
        if all(abs(t_c - before.get(place, t_c)) <= _REST_K for place, t_c in now.items()):
            break
    return now


async def _turn(bridge: Bridge, facts: Mapping[int, ChannelFacts]) -> dict[int, float]:
    """Temperatures in °C of the channels that read; an open one is not among them."""
    read = {}
    for channel, one in facts.items():
        try:
            reading = await bridge.measure(channel, _CURRENT_MA)
        except InstrumentError:
            continue
        if reading.value is not None:
            read[channel] = one.to_celsius(reading.value)
    return read
