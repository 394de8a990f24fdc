"""The framed ASCII bath as an exact conversation."""

from __future__ import annotations

import asyncio

import pytest

from drivers.clock import Clock
from drivers.errors import GarbledReply, LinkLost, NoAnswer, NotConfirmed, OutsideLimits, Refused
from drivers.heat_source import ProfileHeatSource
from drivers.registry import open_heat_source
from drivers.wires.memory import FarEnd
from simulators.virtual_time import run
from tests.conversation.scripted import Responder, Script, SmallBath, framed

LOOK = b"RA+0025.031,+0025.000,+010.5,1,0,1,0,1"


def bath_on(far_end: FarEnd, limits_c: tuple[float, float] | None = None) -> ProfileHeatSource:
    far_ends = {"bench": far_end}
    bath = open_heat_source("ascii-bath", "simulated:bench", Clock(), far_ends=far_ends, limits_c=limits_c)
    assert isinstance(bath, ProfileHeatSource)
    return bath


def test_a_look_and_a_set_point_are_this_conversation_to_the_last_byte() -> None:
    async def main() -> None:
        script = Script(
            (b"$01ID28\r", b">01IDEXBATH-00071A\r"),
            (framed(b"$01", b"RA"), framed(b">01", LOOK)),
            (framed(b"$01", b"WS+0100.000"), framed(b">01", b"WSOK")),
            (framed(b"$01", b"RA"), framed(b">01", LOOK.replace(b"+0025.000", b"+0100.000"))),
        )
        bath = bath_on(script)
        status = await bath.status()
        await bath.write_set_point(100.0)
        assert (status.temperature.value, status.temperature.unit) == (25.031, "degC")
        assert (status.set_point.value, status.output_percent) == (25.0, 10.5)
        assert (status.heater_on, status.over_temperature) == (True, False)
        assert (status.stirrer_on, status.level_low) == (True, False)
        assert not script.left

    run(main())


def test_what_is_written_is_what_the_bath_then_shows() -> None:
    async def main() -> None:
        small = SmallBath()
        bath = bath_on(Responder(small))
        await bath.write_set_point(-12.3456)
        await bath.write_ramp(0.5)
        await bath.write_heater(False)
        await bath.write_cooling(True)
        assert (small.set_point_c, small.ramp_k_per_min) == (-12.346, 0.5)
        assert (small.heater, small.cooling) == (0, 1)

    run(main())


def test_a_bath_that_says_ok_and_does_nothing_is_found_out() -> None:
    async def main() -> None:
        small = SmallBath()
        bath = bath_on(Responder(small))
        small.deaf = True
        with pytest.raises(NotConfirmed, match="150"):
            await bath.write_set_point(150.0)
        with pytest.raises(NotConfirmed, match="off"):
            await bath.write_heater(False)

    run(main())


def test_a_refusal_of_the_bath_is_told_and_leaves_the_link_clean() -> None:
    async def main() -> None:
        far_end = Responder(SmallBath())
        bath = bath_on(far_end)
        await bath.identify()
        far_end.disturb = lambda data, replies: [(0.03, framed(b">01", b"WSE1"))]
        with pytest.raises(Refused, match="E1"):
            await bath.write_set_point(100.0)
        assert bath.link.up

    run(main())


@pytest.mark.parametrize("value", [-40.001, 300.001, float("nan"), float("inf"), 1e300])
def test_a_set_point_outside_the_limits_is_never_sent(value: float) -> None:
    async def main() -> None:
        far_end = Responder(SmallBath())
        with pytest.raises(OutsideLimits):
            await bath_on(far_end).write_set_point(value)
        assert far_end.said == []

    run(main())


def test_the_bench_may_narrow_the_limits_and_not_widen_them() -> None:
    async def main() -> None:
        bath = bath_on(Responder(SmallBath()), (-80.0, 180.0))
        assert (bath.capabilities.minimum_c, bath.capabilities.maximum_c) == (-40.0, 180.0)
        with pytest.raises(OutsideLimits):
            await bath.write_set_point(180.1)

    run(main())


def test_every_single_changed_bit_of_a_look_is_noticed() -> None:
    """An exclusive-or check sees any one changed bit; the answer is then no number at all."""

    async def main() -> None:
        far_end = Responder(SmallBath())
        bath = bath_on(far_end)
        await bath.identify()
        reply = framed(b">01", LOOK)
        for at in range(len(reply)):
            for bit in range(8):
                damaged = bytearray(reply)
                damaged[at] ^= 1 << bit
                far_end.disturb = lambda data, replies, damaged=bytes(damaged): (  # type: ignore[misc]
                    [(0.03, damaged)] if b"RA" in data else replies
                )
                with pytest.raises((GarbledReply, NoAnswer)):
                    await bath.status()

    run(main())


def test_making_safe_goes_ahead_of_a_hanging_question_and_is_then_confirmed() -> None:
    async def main() -> None:
        small = SmallBath()
        far_end = Responder(small)
        bath = bath_on(far_end)
        await bath.identify()
        far_end.disturb = lambda data, replies: [] if b"RA" in data else replies
        hanging = asyncio.create_task(bath.status())
        await asyncio.sleep(0.1)
        far_end.disturb = None
        safe = asyncio.create_task(bath.make_safe())
        await asyncio.sleep(0)
        assert small.heater == 0 and small.set_point_c == 20.0
        with pytest.raises(NoAnswer):
            await hanging
        await safe

    run(main())


def test_each_safe_step_is_tried_though_the_one_before_failed() -> None:
    async def main() -> None:
        small = SmallBath()
        far_end = Responder(small)
        bath = bath_on(far_end)
        await bath.identify()
        far_end.disturb = lambda data, replies: [] if b"WH" in data else replies
        with pytest.raises(NotConfirmed, match="heater"):
            await bath.make_safe()
        assert small.set_point_c == 20.0

    run(main())


def test_a_halt_reaches_a_bath_whose_wire_is_back_before_any_drain_or_back_off() -> None:
    async def main() -> None:
        small = SmallBath()
        far_end = Responder(small)
        bath = bath_on(far_end)
        await bath.identify()

        def gone(data: bytes, replies: object) -> list[tuple[float, bytes]]:
            raise ConnectionError("unplugged")

        far_end.disturb = gone
        for _ in range(20):
            with pytest.raises(LinkLost):
                await bath.status()
            await asyncio.sleep(1.0)
        far_end.disturb = None
        safe = asyncio.create_task(bath.make_safe())
        await asyncio.sleep(0.001)
        assert small.heater == 0
        await safe

    run(main())


def test_a_stranger_on_the_wire_is_told_nothing_but_who_are_you() -> None:
    async def main() -> None:
        far_end = Responder(lambda data: framed(b">01", b"IDOTHER-0001"))
        with pytest.raises(NotConfirmed, match="EXBATH was expected"):
            await bath_on(far_end).make_safe()
        assert set(far_end.said) == {framed(b"$01", b"ID")}

    run(main())
