"""The text bridge as an exact conversation: what is sent, what comes back, what is made of it."""

from __future__ import annotations

import asyncio

import pytest

from drivers.bridge import ProfileBridge
from drivers.clock import Clock
from drivers.errors import (
    GarbledReply,
    LinkLost,
    NoAnswer,
    OutsideLimits,
    Refused,
    StrayBytes,
    WrongChannel,
    WrongIdentity,
)
from drivers.quantities import Quality
from drivers.registry import open_bridge
from drivers.wires.memory import FarEnd
from simulators.virtual_time import run
from tests.conversation.scripted import IDENTITY, Script, SmallBridge

NO_ERROR = (b"SYST:ERR?\n", b'0,"No error"\n')
ASK = b"ROUT:CLOS:STAT?;:SOUR:CURR?;:FRES?\n"


def bridge_on(far_end: FarEnd) -> ProfileBridge:
    bridge = open_bridge("text-bridge", "simulated:bench", Clock(), far_ends={"bench": far_end})
    assert isinstance(bridge, ProfileBridge)
    return bridge


def test_a_first_reading_is_this_conversation_to_the_last_byte() -> None:
    async def main() -> None:
        script = Script(
            (b"*IDN?\n", IDENTITY),
            NO_ERROR,
            (b"ROUT:CLOS (@3)\n", b""),
            NO_ERROR,
            (b"SOUR:CURR 1.4142E-03\n", b""),
            NO_ERROR,
            (ASK, b"(@3);+1.41420000E-03;+1.00034512E+02\n"),
            (ASK, b"(@3);+1.41420000E-03;+1.00034513E+02\n"),
            delay_s=0.6,
        )
        bridge = bridge_on(script)
        first, second = await bridge.measure(3, 1.4142), await bridge.measure(3, 1.4142)
        assert (first.value, first.unit, first.raw) == (100.034512, "ohm", "+1.00034512E+02")
        assert second.value == 100.034513
        assert not script.left

    run(main())


def test_the_input_settles_after_a_switch_and_only_then() -> None:
    async def main() -> None:
        small, clock = SmallBridge(), Clock()
        bridge = bridge_on(small.far_end())
        await bridge.measure(1, 1.0)
        took = []
        for channel in (1, 2, 2):
            started_s = clock.monotonic_s()
            await bridge.measure(channel, 1.0)
            took.append(clock.monotonic_s() - started_s)
        assert took == pytest.approx([1.0, 1.0 + 0.01 + 1.0, 1.0])

    run(main())


def test_a_reading_given_up_while_settling_does_not_shorten_the_settling_of_the_next() -> None:
    async def main() -> None:
        small, clock = SmallBridge(), Clock()
        bridge = bridge_on(small.far_end())
        await bridge.measure(1, 1.0)
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.5):
                await bridge.measure(2, 1.0)
        switched_s = clock.monotonic_s() - 0.5
        await bridge.measure(2, 1.0)
        assert clock.monotonic_s() - switched_s >= 1.0 + 1.0

    run(main())


@pytest.mark.parametrize(
    ("reply", "reason"),
    [
        (9.9e37, "overload"),
        (-9.9e37, "overload"),
        (9.91e37, "not a number"),
        (0.02, "outside"),
        (612.0, "outside"),
    ],
)
def test_an_open_or_shorted_lead_gives_a_reason_and_no_number(reply: float, reason: str) -> None:
    async def main() -> None:
        small = SmallBridge()
        small.resistance_ohm[4] = reply
        reading = await bridge_on(small.far_end()).measure(4, 1.0)
        assert reading.quality is Quality.ABSENT and reading.value is None
        assert reason in reading.reason

    run(main())


@pytest.mark.parametrize(
    "reply",
    [
        b"(@2);+1.00000000E-03;+1.0003451E+02\n",
        b"(@2);+1.00000000E-03;+1.00034512E+02\r\n",
        b"(@2);+1.00000000E-03; +1.00034512E+02\n",
        b"030E+01\n",
        b"\n",
        b"(@2);+1.00000000E-03;+1.00034512E+\xb2\xb2\n",
        b"(@2);+1.00000000E-03;+1.00034512E+02;0\n",
    ],
)
def test_a_reply_of_another_shape_never_becomes_a_number(reply: bytes) -> None:
    async def main() -> None:
        small = SmallBridge()
        far_end = small.far_end()
        bridge = bridge_on(far_end)
        await bridge.measure(2, 1.0)
        far_end.disturb = lambda data, replies: [(1.0, reply)] if b"FRES" in data else replies
        with pytest.raises(GarbledReply):
            await bridge.measure(2, 1.0)
        assert not bridge.link.up

    run(main())


def test_a_reading_of_another_channel_or_current_is_refused() -> None:
    async def main() -> None:
        small = SmallBridge()
        bridge = bridge_on(small.far_end())
        await bridge.measure(2, 1.0)
        small.channel = 5
        with pytest.raises(WrongChannel, match="channel 2"):
            await bridge.measure(2, 1.0)
        assert (await bridge.measure(2, 1.0)).value == 102.0
        small.current_a = 2e-3
        with pytest.raises(WrongChannel):
            await bridge.measure(2, 1.0)

    run(main())


def test_two_readings_at_once_do_not_switch_the_scanner_under_each_other() -> None:
    async def main() -> None:
        bridge = bridge_on(SmallBridge().far_end())
        readings = await asyncio.gather(*(bridge.measure(channel, 1.0) for channel in (1, 5, 2, 8)))
        assert [reading.value for reading in readings] == [101.0, 105.0, 102.0, 108.0]

    run(main())


def test_a_channel_or_current_that_does_not_exist_is_never_sent() -> None:
    async def main() -> None:
        far_end = SmallBridge().far_end()
        bridge = bridge_on(far_end)
        for channel, current_ma in ((0, 1.0), (9, 1.0), (1, 0.7), (1, float("nan"))):
            with pytest.raises(OutsideLimits):
                await bridge.measure(channel, current_ma)
        assert far_end.said == []

    run(main())


def test_errors_of_the_instrument_are_told_and_the_queue_is_emptied() -> None:
    async def main() -> None:
        small = SmallBridge()
        bridge = bridge_on(small.far_end())
        await bridge.identify()
        small.errors = [b'-222,"Data out of range"', b'-350,"Queue overflow"']
        with pytest.raises(Refused, match=r"-222: Data out of range; -350: Queue overflow"):
            await bridge.measure(1, 1.0)
        assert (await bridge.measure(1, 1.0)).value == 101.0

    run(main())


def test_another_instrument_on_the_wire_is_refused_at_the_start_and_after_a_reconnect() -> None:
    async def main() -> None:
        small = SmallBridge()
        far_end = small.far_end()
        small.identity = b"TERN ROCK WORKSHOP,LAMP-1,0042,1.0\n"
        bridge = bridge_on(far_end)
        with pytest.raises(WrongIdentity, match="BRIDGE-8"):
            await bridge.identify()
        with pytest.raises(LinkLost, match=r"next try in .*LAMP-1 answered"):
            await bridge.identify()
        small.identity = IDENTITY
        await asyncio.sleep(1.0)
        await bridge.measure(1, 1.0)
        small.identity = IDENTITY.replace(b"0042", b"0043")
        bridge.link.line.wire_lost("cable pulled")
        with pytest.raises(WrongIdentity, match="serial 0042"):
            await bridge.measure(1, 1.0)

    run(main())


def test_a_late_conversion_is_not_filed_under_the_next_channel() -> None:
    async def main() -> None:
        small = SmallBridge()
        bridge = bridge_on(small.far_end())
        await bridge.measure(3, 1.0)
        small.conversion_s = 3.2
        with pytest.raises(NoAnswer):
            await bridge.measure(3, 1.0)
        small.conversion_s = 1.0
        assert (await bridge.measure(4, 1.0)).value == 104.0

    run(main())


def test_an_answer_quicker_than_a_conversion_is_not_believed() -> None:
    async def main() -> None:
        small = SmallBridge()
        bridge = bridge_on(small.far_end())
        await bridge.measure(3, 1.0)
        small.conversion_s = 0.2
        with pytest.raises(StrayBytes):
            await bridge.measure(3, 1.0)

    run(main())
