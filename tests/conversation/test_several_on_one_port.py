"""Several units on one RS-485 line or one gateway: one owner, each proved for itself, none mistaken."""

from __future__ import annotations

import asyncio
import os
import struct
import tty
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress

import pytest

from drivers.checks import crc16_modbus
from drivers.clock import Clock
from drivers.errors import BadProfile, InstrumentError, LinkLost, NoAnswer, WrongIdentity
from drivers.heat_source import ProfileHeatSource
from drivers.line import Line
from drivers.lines import Lines
from drivers.link import Link
from drivers.profile import load_profile
from drivers.registry import SHIPPED, open_bridge, open_heat_source
from drivers.wires.memory import MemoryWire
from simulators.virtual_time import run
from tests.conversation.scripted import Responder, SmallBlock

IDENTITY_ADDRESS = 100


def rtu(unit: int, pdu: bytes) -> bytes:
    frame = bytes((unit,)) + pdu
    return frame + crc16_modbus(frame).to_bytes(2, "little")


class PartyLine:
    """Blocks on one line: each hears everything and answers what is meant for it; `off` ones are silent."""

    def __init__(self, units: Sequence[int], delay_s: float = 0.02) -> None:
        self.blocks = {unit: SmallBlock() for unit in units}
        for unit, block in self.blocks.items():
            block.registers[102] = 700 + unit
            block.registers[6] = 1000 * unit
        self.heard: list[tuple[int, str]] = []
        self.off: set[int] = set()
        self.late_s = dict.fromkeys(units, 0.0)
        self._delay_s = delay_s

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        unit, pdu = data[0], data[1:-2]
        assert data == rtu(unit, pdu), f"two frames ran into each other: {data.hex()}"
        address = struct.unpack_from(">H", pdu, 1)[0]
        self.heard.append((unit, "who" if address == IDENTITY_ADDRESS else "write" if pdu[0] > 4 else "read"))
        if unit in self.off:
            return []
        return [(self._delay_s + self.late_s[unit], rtu(unit, self.blocks[unit].pdu(pdu)))]


def blocks_on(far_end: PartyLine, *units: int) -> list[ProfileHeatSource]:
    clock = Clock()
    line = Line(MemoryWire(far_end, fresh_on_reopen=False), clock, "bus", quiet_s=6.0, half_duplex=True)
    path = SHIPPED / "modbus-block.toml"
    return [
        ProfileHeatSource(load_profile(path, unit), Link(line, f"unit {unit}"), "serial", clock)
        for unit in units
    ]


async def set_point(block: ProfileHeatSource) -> float | None:
    return (await block.status()).set_point.value


def test_units_on_one_line_take_turns_and_each_answers_for_itself() -> None:
    async def main() -> None:
        bus = PartyLine([1, 2])
        one, two = blocks_on(bus, 1, 2)
        for _ in range(50):
            assert await asyncio.gather(set_point(one), set_point(two)) == [1.0, 2.0]
        assert [unit for unit, what in bus.heard if what == "who"] == [1, 2]

    run(main())


def test_after_a_fault_each_unit_is_proved_before_its_own_next_reading() -> None:
    async def main() -> None:
        bus = PartyLine([1, 2])
        one, two = blocks_on(bus, 1, 2)
        await asyncio.gather(set_point(one), set_point(two))
        bus.late_s[1] = 1.0
        with pytest.raises(NoAnswer):
            await set_point(one)
        bus.late_s[1] = 0.0
        bus.heard.clear()
        assert (await set_point(two), await set_point(one), await set_point(one)) == (2.0, 1.0, 1.0)
        assert bus.heard == [(2, "who"), (2, "read"), (1, "who"), (1, "read"), (1, "read")]

    run(main())


def test_a_unit_exchanged_behind_its_address_is_refused_and_its_neighbour_is_not() -> None:
    async def main() -> None:
        bus = PartyLine([1, 2])
        one, two = blocks_on(bus, 1, 2)
        await asyncio.gather(set_point(one), set_point(two))
        bus.late_s[2] = 1.0
        with pytest.raises(NoAnswer):
            await set_point(two)
        bus.late_s[2], bus.blocks[2].registers[102] = 0.0, 555
        with pytest.raises(WrongIdentity, match=r"unit 2: serial 702 was expected"):
            await set_point(two)
        assert await set_point(one) == 1.0

    run(main())


def test_a_unit_that_is_off_backs_off_alone() -> None:
    async def main() -> None:
        bus = PartyLine([1, 2])
        one, two = blocks_on(bus, 1, 2)
        await asyncio.gather(set_point(one), set_point(two))
        bus.off = {2}
        for _ in range(5):
            with pytest.raises(NoAnswer):
                await set_point(two)
            assert await set_point(one) == 1.0
            await asyncio.sleep(2.0)
        with pytest.raises(NoAnswer):
            await set_point(two)
        with pytest.raises(LinkLost, match="unit 2: next try in"):
            await set_point(two)
        assert await set_point(one) == 1.0
        bus.off = set()
        await asyncio.sleep(6.0 + 5.0)
        assert await set_point(two) == 2.0

    run(main())


def test_a_unit_that_is_off_leaves_its_neighbour_nearly_half_of_the_time() -> None:
    """Each try costs the neighbour the six seconds in which a late answer may still come, and five follow."""

    async def main() -> int:
        bus, clock = PartyLine([1, 2]), Clock()
        one, two = blocks_on(bus, 1, 2)
        await asyncio.gather(set_point(one), set_point(two))
        bus.off = {2}

        async def keep_asking() -> None:
            while True:
                with suppress(InstrumentError):
                    await set_point(two)
                await clock.sleep(1.0)

        asking, looks, start_s = asyncio.create_task(keep_asking()), 0, clock.monotonic_s()
        while (now_s := clock.monotonic_s()) < start_s + 240.0:
            assert await set_point(one) == 1.0
            looks += 1
            await clock.sleep_until(now_s + 1.0)
        asking.cancel()
        return looks

    assert 100 < run(main()) < 140


def test_switching_off_goes_ahead_of_the_neighbours_questions_but_never_into_an_answer() -> None:
    """Two talkers on a two-wire bus would be heard by nobody; the far end fails on such a frame."""

    async def main() -> None:
        bus = PartyLine([1, 2], delay_s=0.3)
        one, two = blocks_on(bus, 1, 2)
        await asyncio.gather(set_point(one), set_point(two))
        bus.heard.clear()
        asking = [asyncio.create_task(set_point(two)) for _ in range(5)]
        await asyncio.sleep(0.1)
        await one.write_heater(False)
        assert await asyncio.gather(*asking) == [2.0] * 5
        assert bus.heard[:2] == [(2, "read"), (1, "write")]
        assert bus.blocks[1].registers[7] == 0 and bus.blocks[2].registers[7] == 1

    run(main())


def test_a_port_stays_open_until_its_last_instrument_is_closed() -> None:
    async def main() -> None:
        bus = PartyLine([1, 2])
        one, two = blocks_on(bus, 1, 2)
        await asyncio.gather(set_point(one), set_point(two))
        await one.close()
        assert await set_point(two) == 2.0
        assert await set_point(one) == 1.0
        await two.close()
        assert await set_point(one) == 1.0
        assert [what for unit, what in bus.heard if unit == 1].count("who") == 2

    run(main())


@contextmanager
def null_modem() -> Iterator[tuple[str, str]]:
    """Two pseudo-terminals joined crosswise; needs the running loop."""
    near, far = os.openpty()
    other_near, other_far = os.openpty()
    for descriptor in (near, far, other_near, other_far):
        tty.setraw(descriptor)
    loop = asyncio.get_running_loop()
    for source, sink in ((near, other_near), (other_near, near)):
        loop.add_reader(source, lambda source=source, sink=sink: os.write(sink, os.read(source, 4096)))  # type: ignore[misc]
    try:
        yield os.ttyname(far), os.ttyname(other_far)
    finally:
        for descriptor in (near, other_near):
            loop.remove_reader(descriptor)
        for descriptor in (near, far, other_near, other_far):
            os.close(descriptor)


def test_two_units_of_an_independent_server_share_one_pseudo_terminal() -> None:
    from pymodbus.server import ModbusSerialServer
    from pymodbus.simulator import DataType, SimData, SimDevice

    def device(unit: int) -> SimDevice:
        block = PartyLine([unit]).blocks[unit]
        words = [block.registers.get(at, 0) for at in range(125)]
        return SimDevice(id=unit, simdata=[SimData(0, values=words, datatype=DataType.REGISTERS)])

    async def main() -> None:
        with null_modem() as (ours, theirs):
            server = ModbusSerialServer([device(1), device(2)], port=theirs, baudrate=19200)
            await server.serve_forever(background=True)
            lines = Lines(Clock())
            sources = [
                open_heat_source("modbus-block", f"serial:{ours}{unit}", Clock(), lines=lines)
                for unit in ("", "?unit=2")
            ]
            try:
                assert await asyncio.gather(*(source.identify() for source in sources)) == [
                    "product 2832, serial 701",
                    "product 2832, serial 702",
                ]
                await asyncio.gather(
                    *(s.write_set_point(t) for s, t in zip(sources, (31.5, 42.5), strict=True))
                )
                looks = await asyncio.gather(*(source.status() for source in sources))
                assert [look.set_point.value for look in looks] == [31.5, 42.5]
            finally:
                for source in sources:
                    await source.close()
                await server.shutdown()

    asyncio.run(main())


def test_two_instruments_on_one_port_must_want_the_same_line_settings() -> None:
    lines = Lines(Clock())
    open_heat_source("modbus-block", "serial:/dev/port", Clock(), lines=lines)
    with pytest.raises(BadProfile, match=r"19200 8N1 and 115200 8N1"):
        open_bridge("text-bridge", "serial:/dev/port", Clock(), lines=lines)


@pytest.mark.parametrize("unit", ["0", "248", "x", ""])
def test_a_unit_that_cannot_be_is_refused(unit: str) -> None:
    with pytest.raises(BadProfile, match="unit must be 1 to 247"):
        open_heat_source("modbus-block", f"tcp://127.0.0.1:502?unit={unit}", Clock())


def test_a_text_instrument_has_no_unit() -> None:
    with pytest.raises(BadProfile, match="for Modbus"):
        open_heat_source("ascii-bath", "tcp://127.0.0.1:502?unit=2", Clock())


def test_several_units_behind_one_gateway_share_its_connection() -> None:
    async def main() -> None:
        far_end = Responder(SmallBlock())
        lines = Lines(Clock(), {"gateway": far_end})
        one, two = (
            open_heat_source("modbus-block", "simulated:gateway", Clock(), lines=lines) for _ in range(2)
        )
        await asyncio.gather(one.status(), two.status())
        await one.close()
        assert (await two.status()).temperature.value == 25.5

    run(main())
