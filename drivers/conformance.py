"""Laws that every driver passes: the tests hold drivers to them, and so does a trial at the bench.

Reading comes first. What changes the instrument is done only when asked for, and asks it for nothing
but its present set-point and, at the very end, the safe state.
"""

from __future__ import annotations

import math
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import TypeVarTuple

from drivers.errors import InstrumentError, OutsideLimits
from drivers.heat_source import ProfileHeatSource
from drivers.instrument import Instrument
from drivers.profile_model import Question
from drivers.quantities import UNITS, Reading
from drivers.roles import Ambient, Bridge, HeatSource, Interlocks, Readout, Scanner, SourceStatus

Ts = TypeVarTuple("Ts")
Attempt = Callable[[], Awaitable[str]]


Device = HeatSource | Bridge | Scanner | Readout | Ambient | Interlocks
Ask = Callable[[], Awaitable[Mapping[str, Reading | bool]]]


class LawBroken(Exception):
    """The driver or its instrument does not do what its role promises."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One law: what was tried, whether it holds, and what was seen."""

    law: str
    holds: bool
    seen: str


async def try_heat_source(source: HeatSource, *, writes: bool = False) -> AsyncIterator[Finding]:
    """Walk through everything a heat source offers; `writes` allows writing and ends in the safe state."""
    yield await _attempt("says who it is, twice the same", partial(_identity, source))
    yield await _attempt("shows temperature, set-point and all it claims", partial(_status, source))
    if isinstance(source, Instrument):
        for name, question in source.profile.questions.items():
            if name != "status":
                yield await _attempt(f"answers {name}", partial(_answer, source, question))
    for value in _forbidden(source.capabilities.minimum_c, source.capabilities.maximum_c):
        yield await _attempt(
            f"refuses a set-point of {value:g} °C", partial(_refuses, source.write_set_point, value)
        )
    if writes:
        yield await _attempt("confirms its present set-point", partial(_rewrite_set_point, source))
        if isinstance(source, ProfileHeatSource) and source.has_communication_loss:
            yield await _attempt("confirms its present reaction to silence", partial(_rearm, source))
        yield await _attempt("makes itself safe", partial(_safe, source))


async def try_bridge(bridge: Bridge) -> AsyncIterator[Finding]:
    """Read every channel once at the smallest current, and try what must be refused."""
    yield await _attempt("says who it is, twice the same", partial(_identity, bridge))
    channels, current_ma = bridge.capabilities.channels, min(bridge.capabilities.currents_ma)
    for channel in (0, -1, channels + 1):
        yield await _attempt(
            f"refuses channel {channel}", partial(_refuses, bridge.measure, channel, current_ma)
        )
    for current in (0.0, math.nan, 2.0 * max(bridge.capabilities.currents_ma)):
        yield await _attempt(f"refuses {current:g} mA", partial(_refuses, bridge.measure, 1, current))
    for channel in range(1, channels + 1):
        yield await _attempt(f"reads channel {channel}", partial(_resistance, bridge, channel, current_ma))


async def try_scanner(scanner: Scanner) -> AsyncIterator[Finding]:
    """See which channel is closed, try what must be refused, close every channel once; ends as it began."""
    yield await _attempt("says who it is, twice the same", partial(_identity, scanner))
    found = await _attempt("shows which channel is closed", partial(_closed, scanner))
    yield found
    channels = scanner.capabilities.channels
    for channel in (0, -1, channels + 1):
        yield await _attempt(f"refuses channel {channel}", partial(_refuses, scanner.select, channel))
    before = int(found.seen) if found.seen.isdecimal() else 0
    for channel in [*range(1, channels + 1), *([before] if before else [])]:
        yield await _attempt(f"closes channel {channel}", partial(_closes, scanner, channel))


async def _closed(scanner: Scanner) -> str:
    return str(await scanner.closed() or "none")


async def _closes(scanner: Scanner, channel: int) -> str:
    await scanner.select(channel)
    if (found := await scanner.closed()) != channel:
        raise LawBroken(f"shows channel {found}")
    return "it alone"


async def try_monitor(monitor: Readout | Ambient | Interlocks, ask: Ask) -> AsyncIterator[Finding]:
    """Look at everything an instrument beside the heat source shows; nothing is ever written to it."""
    yield await _attempt("says who it is, twice the same", partial(_identity, monitor))
    yield await _attempt("shows all it has", partial(_all_shown, ask))


async def _all_shown(ask: Ask) -> str:
    shown = await ask()
    if not shown:
        raise LawBroken("shows nothing")
    return ", ".join(
        f"{name} {_shown(value) if isinstance(value, Reading) else 'on' if value else 'off'}"
        for name, value in shown.items()
    )


async def _attempt(law: str, attempt: Attempt) -> Finding:
    try:
        return Finding(law, True, await attempt())
    except (InstrumentError, LawBroken) as error:
        return Finding(law, False, str(error))


async def _identity(instrument: Device) -> str:
    first, second = await instrument.identify(), await instrument.identify()
    if not first or first != second:
        raise LawBroken(f"answered {first!r}, then {second!r}")
    return first


async def _answer(instrument: Instrument, question: Question) -> str:
    values = await instrument.ask(question)
    shown = (
        f"{name} {_shown(instrument.reading(values, question, name))}"
        if name in question.units
        else f"{name} {'on' if value else 'off'}"
        for name, value in values.items()
    )
    return ", ".join(shown)


async def _status(source: HeatSource) -> str:
    status = await source.status()
    for name, reading in (("temperature", status.temperature), ("set-point", status.set_point)):
        _in_unit(name, reading, "degC")
    missing = [name for name, claimed, value in _claims(source, status) if claimed and value is None]
    if missing:
        raise LawBroken(f"claims to show {', '.join(missing)}, but does not")
    return f"{_shown(status.temperature)}, set-point {_shown(status.set_point)}"


def _claims(source: HeatSource, status: SourceStatus) -> list[tuple[str, bool, object]]:
    claims = source.capabilities
    return [
        ("output", claims.output, status.output_percent),
        ("over-temperature", claims.over_temperature, status.over_temperature),
        ("stirrer", claims.stirrer, status.stirrer_on),
        ("level", claims.level, status.level_low),
    ]


def _in_unit(name: str, reading: Reading, unit: str) -> None:
    if reading.unit != unit:
        raise LawBroken(f"{name} comes in {reading.unit!r}, not in {unit!r}")
    if not reading.fresh and not reading.reason:
        raise LawBroken(f"{name} is absent without a reason")


def _shown(reading: Reading) -> str:
    return (
        reading.reason
        if reading.value is None
        else f"{reading.value:.10g} {UNITS.get(reading.unit, reading.unit)}"
    )


def _forbidden(low: float, high: float) -> tuple[float, ...]:
    return low - 1.0, high + 1.0, math.nan, math.inf, -math.inf


async def _refuses(action: Callable[[*Ts], Awaitable[object]], *values: *Ts) -> str:
    try:
        await action(*values)
    except OutsideLimits as error:
        return str(error)
    raise LawBroken("was accepted")


async def _rewrite_set_point(source: HeatSource) -> str:
    before = (await source.status()).set_point
    if before.value is None:
        raise LawBroken(f"has no set-point: {before.reason}")
    await source.write_set_point(before.value)
    after = (await source.status()).set_point
    if (
        after.value is None
        or not abs(after.value - before.value) <= source.capabilities.set_point_resolution_k
    ):
        raise LawBroken(f"{_shown(before)} was written, {_shown(after)} is shown")
    return _shown(after)


async def _rearm(source: ProfileHeatSource) -> str:
    before = await source.communication_loss()
    await source.arm_communication_loss(*before)
    if (after := await source.communication_loss()) != before:
        raise LawBroken(f"{before} was written, {after} is shown")
    silence_s, fall_back_c = after
    return f"after {silence_s:g} s it takes {fall_back_c:g} °C" if silence_s else "none is set"


async def _safe(source: HeatSource) -> str:
    await source.make_safe()
    if (await source.status()).heater_on:
        raise LawBroken("the heater is still on")
    return "heater off"


async def _resistance(bridge: Bridge, channel: int, current_ma: float) -> str:
    reading = await bridge.measure(channel, current_ma)
    _in_unit("resistance", reading, "ohm")
    return _shown(reading)
