"""The Modbus block as an exact conversation, and the codec against an independent implementation."""

from __future__ import annotations

import asyncio
import os
import random
import struct
import tty

import pytest
from pymodbus.client.mixin import ModbusClientMixin
from pymodbus.framer import FramerRTU, FramerSocket
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.register_message import (
    ReadHoldingRegistersRequest,
    ReadInputRegistersRequest,
    WriteMultipleRegistersRequest,
    WriteSingleRegisterRequest,
)

from drivers.clock import Clock
from drivers.errors import GarbledReply, NotConfirmed, OutsideLimits, Refused
from drivers.heat_source import ProfileHeatSource
from drivers.modbus import RtuFraming, TcpFraming, read_request, registers_of, write_request
from drivers.registers import ORDERS, TYPES, RegisterType
from drivers.registry import find_profile, open_heat_source
from drivers.wires.memory import FarEnd
from simulators.virtual_time import run
from tests.conversation.scripted import Responder, Script, SmallBlock

MBAP = struct.Struct(">HHHB")


def block_on(far_end: FarEnd) -> ProfileHeatSource:
    block = open_heat_source("modbus-block", "simulated:bench", Clock(), far_ends={"bench": far_end})
    assert isinstance(block, ProfileHeatSource)
    return block


def tcp(transaction: int, pdu: bytes) -> bytes:
    return MBAP.pack(transaction, 0, len(pdu) + 1, 1) + pdu


def test_a_look_and_a_set_point_are_this_conversation_to_the_last_byte() -> None:
    async def main() -> None:
        look = struct.pack(">ffHiHHH", 99.5, 40.0, 0b011, 100_000, 1, 500, 0)
        later = struct.pack(">ffHiHHH", 99.5, 40.0, 0b011, 120_500, 1, 500, 0)
        write = bytes.fromhex("10 0005 0002 04 0001D6B4")
        script = Script(
            (tcp(2, bytes.fromhex("03 0064 0003")), tcp(2, bytes.fromhex("03 06 0B10 000002DB"))),
            (tcp(1, bytes.fromhex("03 0000 000A")), tcp(1, b"\x03\x14" + look)),
            (tcp(3, write), tcp(3, write[:5])),
            (tcp(4, bytes.fromhex("03 0000 000A")), tcp(4, b"\x03\x14" + later)),
        )
        block = block_on(script)
        status = await block.status()
        await block.write_set_point(120.5)
        assert (status.temperature.value, status.set_point.value, status.output_percent) == (
            99.5,
            100.0,
            40.0,
        )
        assert (status.heater_on, status.over_temperature, status.stirrer_on) == (True, True, None)
        assert block.identity_text == "product 2832, serial 731"
        assert not script.left

    run(main())


def test_writes_reach_the_registers_and_are_read_back() -> None:
    async def main() -> None:
        small = SmallBlock()
        block = block_on(Responder(small))
        await block.write_set_point(-3.25)
        await block.write_ramp(12.5)
        await block.write_heater(False)
        await block.arm_communication_loss(45.0, 25.0)
        assert small.registers[5] << 16 | small.registers[6] == (1 << 32) - 3250
        assert (small.registers[8], small.registers[7], small.registers[30]) == (1250, 0, 45)
        assert small.registers[32] == 25_000

    run(main())


def test_an_exception_reply_is_a_refusal_in_words() -> None:
    async def main() -> None:
        small = SmallBlock()
        block = block_on(Responder(small))
        await block.identify()
        del small.registers[3]
        with pytest.raises(Refused, match="no such register"):
            await block.status()
        assert block.link.up

    run(main())


def test_an_answer_of_another_transaction_is_refused() -> None:
    async def main() -> None:
        far_end = Responder(SmallBlock())
        block = block_on(far_end)
        await block.identify()
        far_end.disturb = lambda data, replies: [(0.02, b"\xff" + replies[0][1][1:])]
        with pytest.raises(GarbledReply, match="another transaction"):
            await block.status()

    run(main())


def test_a_long_serial_number_counts_to_its_last_digit() -> None:
    profile = find_profile("modbus-block")
    assert profile is not None
    answers = [struct.pack(">BBHI", 3, 6, 2832, serial) for serial in (20_251_234, 20_251_235)]
    told = [profile.identity.decode(answer) for answer in answers]
    assert [one["serial"] for one in told] == ["20251234", "20251235"]


def test_a_switch_that_reads_back_differently_is_not_confirmed() -> None:
    async def main() -> None:
        small = SmallBlock()
        far_end = Responder(small)
        block = block_on(far_end)
        await block.identify()

        def stubborn(data: bytes, replies: list[tuple[float, bytes]]) -> list[tuple[float, bytes]]:
            small.registers[7] = 1
            return [(0.02, small(data))]

        far_end.disturb = stubborn
        with pytest.raises(NotConfirmed, match="off"):
            await block.write_heater(False)

    run(main())


@pytest.mark.parametrize("kind", ["rtu", "tcp"])
def test_requests_equal_those_of_an_independent_codec(kind: str) -> None:
    decoder = DecodePDU(False)
    ours = RtuFraming(17) if kind == "rtu" else TcpFraming(17)
    theirs = FramerRTU(decoder) if kind == "rtu" else FramerSocket(decoder)
    chance = random.Random(4)
    for transaction in range(1, 200):
        address, count = chance.randrange(65000), chance.randrange(1, 120)
        words = [chance.randrange(65536) for _ in range(chance.choice((1, 2, 7)))]
        data = struct.pack(f">{len(words)}H", *words)
        write = (
            WriteSingleRegisterRequest(address=address, registers=words)
            if len(words) == 1
            else WriteMultipleRegistersRequest(address=address, registers=words)
        )
        for mine, other in (
            (read_request(3, address, count), ReadHoldingRegistersRequest(address=address, count=count)),
            (read_request(4, address, count), ReadInputRegistersRequest(address=address, count=count)),
            (write_request(address, data), write),
        ):
            frame = ours.wrap(mine)
            other.dev_id, other.transaction_id = 17, getattr(ours, "transaction", transaction)
            assert frame == theirs.buildFrame(other)


@pytest.mark.parametrize("word_order", ORDERS)
@pytest.mark.parametrize("name", TYPES)
def test_numbers_in_registers_equal_those_of_an_independent_codec(name: str, word_order: str) -> None:
    chance, kind = random.Random(5), RegisterType(name, word_order)
    theirs = ModbusClientMixin.DATATYPE[name.upper()]
    for _ in range(500):
        registers = bytes(chance.randrange(256) for _ in range(2 * kind.count))
        words = list(struct.unpack(f">{kind.count}H", registers))
        number = kind.unpacker(0)(registers)
        other = ModbusClientMixin.convert_from_registers(words, theirs, word_order=word_order)  # type: ignore[arg-type]
        assert number == other or (number != number and other != other)
        assert number != number or kind.pack(number) == registers


def test_a_number_that_does_not_fit_its_register_is_never_sent() -> None:
    for name, number in (("int16", 40000.0), ("uint16", -1.0), ("float32", 1e300), ("int32", float("inf"))):
        with pytest.raises(OutsideLimits):
            RegisterType(name).pack(number)


def test_every_single_changed_bit_of_an_rtu_frame_is_noticed() -> None:
    """A 16-bit CRC finds every single-bit error."""
    framing, request = RtuFraming(1), read_request(3, 0, 2)
    reply = framing.wrap(bytes.fromhex("03 04 41C8 0000"))
    assert registers_of(request, framing.unwrap(reply, b"")) == bytes.fromhex("41C80000")
    for at in range(8 * len(reply)):
        damaged = bytearray(reply)
        damaged[at // 8] ^= 1 << at % 8
        with pytest.raises(GarbledReply):
            framing.unwrap(bytes(damaged), b"")


def _pymodbus_device() -> object:
    from pymodbus.simulator import DataType, SimData, SimDevice

    words = [0] * 125
    for at, word in SmallBlock().registers.items():
        words[at] = word
    return SimDevice(id=1, simdata=[SimData(0, values=words, datatype=DataType.REGISTERS)])


async def _walk(block: ProfileHeatSource) -> None:
    assert await block.identify() == "product 2832, serial 731"
    await block.write_set_point(61.125)
    await block.write_heater(False)
    status = await block.status()
    assert (status.temperature.value, status.set_point.value) == (25.5, 61.125)
    await block.close()


def test_the_driver_works_against_an_independent_server_over_tcp() -> None:
    from pymodbus.server import ModbusTcpServer

    async def main() -> None:
        server = ModbusTcpServer(_pymodbus_device(), address=("127.0.0.1", 0))  # type: ignore[arg-type]
        await server.serve_forever(background=True)
        try:
            port = server.transport.sockets[0].getsockname()[1]  # type: ignore[union-attr]
            block = open_heat_source("modbus-block", f"tcp://127.0.0.1:{port}", Clock())
            assert isinstance(block, ProfileHeatSource)
            await _walk(block)
        finally:
            await server.shutdown()

    asyncio.run(main())


def test_the_driver_works_against_an_independent_server_over_a_pseudo_terminal() -> None:
    from pymodbus.server import ModbusSerialServer

    async def main() -> None:
        near, far = os.openpty()
        other_near, other_far = os.openpty()
        for descriptor in (near, far, other_near, other_far):
            tty.setraw(descriptor)
        loop = asyncio.get_running_loop()
        for source, sink in ((near, other_near), (other_near, near)):
            loop.add_reader(source, lambda source=source, sink=sink: os.write(sink, os.read(source, 4096)))  # type: ignore[misc]
        server = ModbusSerialServer(_pymodbus_device(), port=os.ttyname(other_far), baudrate=19200)  # type: ignore[arg-type]
        await server.serve_forever(background=True)
        try:
            block = open_heat_source("modbus-block", f"serial:{os.ttyname(far)}", Clock())
            assert isinstance(block, ProfileHeatSource)
            await _walk(block)
        finally:
            await server.shutdown()
            for descriptor in (near, other_near):
                loop.remove_reader(descriptor)
            for descriptor in (near, far, other_near, other_far):
                os.close(descriptor)

    asyncio.run(main())
