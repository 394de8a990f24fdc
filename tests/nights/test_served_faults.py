"""Faults of the wire can be ordered, and show as what they are in memory, on sockets and on serial lines."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime

import pytest

from drivers.clock import Clock, ScaledClock
from drivers.errors import (
    GarbledReply,
    InstrumentError,
    LinkLost,
    NoAnswer,
    StrayBytes,
    WrongChannel,
    WrongIdentity,
)
from drivers.registry import open_bridge, open_heat_source
from simulators.draw import draw_probe
from simulators.faults import parse_faults
from simulators.scene import Scene, SceneSpec
from simulators.served import served
from simulators.virtual_time import run

FACTOR = 20.0
BEGINS_S, LASTS_S = 20.0, 20.0
TRIES = 200


def scene(*faults: str) -> Scene:
    probes = tuple(draw_probe(f"TR-10{n}", n, "iprt", 98.0 + 2.0 * n, 1) for n in (1, 2))
    return Scene(SceneSpec("oil_bath", 1, probes, faults=parse_faults(faults)))


@pytest.mark.parametrize("device", ["source", "bridge"])
def test_a_broken_connection_is_told_at_once_and_made_again(device: str) -> None:
    async def main() -> None:
        clock, ends = Clock(), {"it": scene(f"disconnect@0:01={device}/30").instrument(device)}
        if device == "source":
            it = open_heat_source("ascii-bath", "simulated:it", clock, far_ends=ends)
        else:
            it = open_bridge("text-bridge", "simulated:it", clock, far_ends=ends)
        before = await it.identify()
        await clock.sleep_until(61.0)
        with pytest.raises(LinkLost, match="connection broke"):
            await it.identify()
        assert clock.monotonic_s() == 61.0
        await clock.sleep_until(100.0)
        assert await it.identify() == before

    run(main())


def test_a_bridge_that_restarted_is_not_believed_to_have_kept_its_channel() -> None:
    async def main() -> None:
        clock, bench = Clock(), scene("reset@0:01=bridge")
        bridge = open_bridge(
            "text-bridge", "simulated:it", clock, far_ends={"it": bench.instrument("bridge")}
        )
        await bridge.measure(2, 1.0)
        await clock.sleep_until(70.0)  # it was off and on again while nobody asked
        with pytest.raises(WrongChannel, match="channel 2 at 1 mA was asked, channel 1"):
            await bridge.measure(2, 1.0)
        probe = bench.truth("TR-102")
        assert (await bridge.measure(2, 1.0)).value == pytest.approx(
            probe.resistance_ohm(probe.temperature_c), abs=0.5
        )

    run(main())


def test_a_source_that_restarted_heats_again_and_the_switch_shows_it() -> None:
    async def main() -> None:
        clock, bench = Clock(), scene("reset@0:01=source")
        bath = open_heat_source(
            "ascii-bath", "simulated:it", clock, far_ends={"it": bench.instrument("source")}
        )
        await bath.write_heater(False)
        await clock.sleep_until(70.0)
        assert (await bath.status()).heater_on

    run(main())


SHOWS_AS: dict[tuple[str, str], tuple[type[InstrumentError], ...]] = {
    ("disconnect", "tcp"): (LinkLost,),
    ("disconnect", "pty"): (NoAnswer,),
    ("reset", "tcp"): (LinkLost,),
    ("reset", "pty"): (NoAnswer,),
    ("silence", "tcp"): (NoAnswer,),
    ("silence", "pty"): (NoAnswer,),
    ("half-line", "tcp"): (NoAnswer,),
    ("half-line", "pty"): (NoAnswer,),
    ("brown-out", "tcp"): (NoAnswer,),
    ("brown-out", "pty"): (NoAnswer,),
    ("garbage", "tcp"): (GarbledReply, StrayBytes),
    ("garbage", "pty"): (GarbledReply, StrayBytes),
    ("wrong-identity", "tcp"): (WrongIdentity,),
    ("wrong-identity", "pty"): (WrongIdentity,),
}


# With these the heat comes back by itself, though it was switched off before.
RESUMES = ("brown-out", "reset")


async def lived_through(kind: str, carrier: str) -> tuple[set[type[Exception]], bool, bool]:
    """First errors met in the fault, whether the bath answered after it, whether the halt came through."""
    device = "" if kind == "brown-out" else "=source"
    bench = scene(f"{kind}@0:00:{BEGINS_S:.0f}{device}/{LASTS_S:.0f}")
    clock = ScaledClock(FACTOR, datetime(2026, 1, 15, tzinfo=UTC))
    async with served(bench, {"source": carrier}, FACTOR) as addresses:
        bath = open_heat_source("ascii-bath", addresses["source"], clock)
        before = await bath.identify()
        await bath.write_heater(kind not in RESUMES)
        await clock.sleep_until(BEGINS_S + 0.5)
        met = {await _error(bath.identify())}
        await clock.sleep_until(BEGINS_S + LASTS_S + 1.0)
        for _ in range(TRIES):
            if await _error(bath.identify()) is None:
                break
            await clock.sleep(1.0)
        back = await bath.identify() == before and (await bath.status()).heater_on is True
        await bath.make_safe()
        await bath.close()
        return {type(error) for error in met if error}, back, not bench.source.controller.heater_on


async def _error(asking: object) -> InstrumentError | None:
    try:
        await asking  # type: ignore[misc]
    except InstrumentError as error:
        return error
    return None


def test_every_fault_of_a_real_wire_is_told_survived_and_followed_by_a_halt_that_arrives() -> None:
    async def main() -> list[tuple[set[type[Exception]], bool, bool]]:
        return await asyncio.gather(*(lived_through(kind, carrier) for kind, carrier in SHOWS_AS))

    for (case, expected), (met, back, safe) in zip(SHOWS_AS.items(), asyncio.run(main()), strict=True):
        assert met and met <= set(expected), f"{case} showed as {met}"
        assert back and safe, case


def test_a_stuck_display_repeats_itself_over_a_real_wire_while_the_bath_gets_warmer() -> None:
    async def main() -> tuple[set[float | None], float]:
        bench = scene(f"frozen-reading@0:00:{BEGINS_S:.0f}=source")
        clock = ScaledClock(FACTOR, datetime(2026, 1, 15, tzinfo=UTC))
        async with served(bench, {"source": "tcp"}, FACTOR) as addresses:
            bath = open_heat_source("ascii-bath", addresses["source"], clock)
            await bath.write_set_point(90.0)
            shown = set()
            for tick in range(5):
                await clock.sleep_until(BEGINS_S + 2.0 + 5.0 * tick)
                shown.add((await bath.status()).temperature.value)
            await bath.close()
            return shown, bench.source.displayed_c

    shown, now_c = asyncio.run(main())
    (stuck_c,) = shown
    assert stuck_c is not None and now_c > stuck_c + 0.2
