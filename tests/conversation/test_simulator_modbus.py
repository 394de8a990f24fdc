"""The simulated Modbus controller against independent framers and the specification's own examples."""

from __future__ import annotations

import math
import struct

import pytest
from pymodbus.framer import FramerRTU, FramerSocket
from pymodbus.framer.base import FramerBase
from pymodbus.pdu import DecodePDU, ExceptionResponse, ModbusPDU
from pymodbus.pdu.register_message import (
    ReadHoldingRegistersRequest,
    WriteMultipleRegistersRequest,
    WriteSingleRegisterRequest,
)

from simulators.instruments.modbus_controller import ModbusController
from simulators.instruments.modbus_frames import RtuFraming, TcpFraming, crc16
from simulators.physics.heat import HeatSource
from simulators.physics.models import DRY_BLOCK
from simulators.physics.noise import generator


class Line:
    """A controller together with an independent client's framer."""

    def __init__(self, kind: str) -> None:
        self.source = HeatSource(DRY_BLOCK, generator(1, "source"))
        self.framer: FramerBase
        if kind == "rtu":
            framing: RtuFraming | TcpFraming = RtuFraming()
            self.framer = FramerRTU(DecodePDU(False))
        else:
            framing = TcpFraming()
            self.framer = FramerSocket(DecodePDU(False))
        self.end = ModbusController(self.source, self.source.advance, generator(1, "wire"), framing)
        self.transaction = 0

    def frame(self, request: ModbusPDU) -> bytes:
        self.transaction += 1
        request.transaction_id = self.transaction
        return self.framer.buildFrame(request)

    def ask(self, request: ModbusPDU, now_s: float = 0.0) -> ModbusPDU:
        ((delay_s, reply),) = self.end.accept(self.frame(request), now_s)
        assert 0.01 < delay_s < 0.03
        used, answer = self.framer.handleFrame(reply, 1, self.transaction)
        assert used == len(reply) and answer is not None
        return answer

    def read(self, address: int, count: int, now_s: float = 0.0) -> list[int]:
        answer = self.ask(ReadHoldingRegistersRequest(address=address, count=count, dev_id=1), now_s)
        assert not answer.isError()
        return list(answer.registers)

    def write(self, address: int, *words: int, now_s: float = 0.0) -> ModbusPDU:
        return self.ask(
            WriteMultipleRegistersRequest(address=address, registers=list(words), dev_id=1), now_s
        )


@pytest.fixture(params=["rtu", "tcp"])
def line(request: pytest.FixtureRequest) -> Line:
    return Line(request.param)


def milli(t_c: float) -> tuple[int, int]:
    return struct.unpack(">HH", struct.pack(">i", round(t_c * 1000)))


def refusal(answer: ModbusPDU) -> int:
    assert isinstance(answer, ExceptionResponse)
    return answer.exception_code


def test_the_check_of_a_serial_frame_is_the_specifications_example() -> None:
    """Modbus over serial line V1.02, annex B: address 02, function 07 give 41 12 on the wire."""
    assert crc16(b"\x02\x07").to_bytes(2, "little") == b"\x41\x12"
    independent = FramerRTU(DecodePDU(False))
    for pdu in (b"\x07", b"\x03\x00\x00\x00\x0a", bytes(range(250))):
        assert RtuFraming().wrap(1, pdu, b"") == independent.encode(pdu, 1, 0)


def test_one_read_is_a_whole_look_at_the_source(line: Line) -> None:
    words = line.read(0, 10)
    temperature, output = struct.unpack(">ff", struct.pack(">4H", *words[:4]))
    assert temperature == pytest.approx(22.1, abs=0.1)
    assert output == 0.0
    assert words[4:] == [0b100, *milli(25.0), 0, 1200, 1]


def test_it_says_what_and_which_it_is(line: Line) -> None:
    assert line.read(100, 3) == [0x0B10, 0, 731]


def test_set_point_heater_ramp_and_fan_are_taken_and_heat_follows(line: Line) -> None:
    assert not line.write(5, *milli(300.0), 1, 600, 0).isError()
    words = line.read(0, 10, now_s=600.0)
    assert words[4:] == [0b001, *milli(300.0), 1, 600, 0]
    assert struct.unpack(">f", struct.pack(">2H", *words[:2]))[0] > 60.0


def test_a_set_point_below_zero_is_a_signed_number(line: Line) -> None:
    assert not line.write(5, *milli(-20.5)).isError()
    assert line.source.controller.set_point_c == -20.5
    assert line.read(5, 2) == list(milli(-20.5))


def test_a_single_write_is_echoed(line: Line) -> None:
    answer = line.ask(WriteSingleRegisterRequest(address=7, registers=[1], dev_id=1))
    assert list(answer.registers) == [1]
    assert line.read(7, 1) == [1]


@pytest.mark.parametrize(
    ("address", "words", "code"),
    [
        (5, milli(700.001), 3),
        (5, milli(-40.001), 3),
        (8, (4,), 3),
        (8, (5001,), 3),
        (7, (2,), 3),
        (0, (1, 2), 2),
        (5, (0,), 2),
        (6, (0,), 2),
        (10, (1,), 2),
        (100, (1,), 2),
        (5, (*milli(100.0), 1, 9999), 3),
    ],
)
def test_a_bad_write_is_refused_whole(line: Line, address: int, words: tuple[int, ...], code: int) -> None:
    before = line.read(5, 5)
    assert refusal(line.write(address, *words)) == code
    assert line.read(5, 5) == before


@pytest.mark.parametrize(("address", "count"), [(9, 2), (10, 1), (29, 2), (103, 1), (65535, 1)])
def test_registers_that_are_not_there_are_an_illegal_address(line: Line, address: int, count: int) -> None:
    answer = line.ask(ReadHoldingRegistersRequest(address=address, count=count, dev_id=1))
    assert refusal(answer) == 2


def test_an_unknown_function_is_refused() -> None:
    line = Line("rtu")
    request = b"\x01\x01\x00\x00\x00\x01"
    ((_, reply),) = line.end.accept(request + crc16(request).to_bytes(2, "little"), 0.0)
    assert reply[:3] == b"\x01\x81\x01"


def test_another_units_frame_and_a_spoilt_frame_are_not_answered(line: Line) -> None:
    assert line.end.accept(line.frame(ReadHoldingRegistersRequest(address=0, count=2, dev_id=7)), 0.0) == []


def test_a_spoilt_serial_frame_is_not_answered_and_the_next_one_is() -> None:
    line = Line("rtu")
    good = line.frame(ReadHoldingRegistersRequest(address=0, count=2, dev_id=1))
    assert line.end.accept(good[:-1] + b"\x00", 0.0) == []
    assert line.end.accept(good[:5], 1.0) == []
    assert len(line.end.accept(good, 2.0)) == 1


def test_frames_in_fragments_and_in_a_row_are_answered(line: Line) -> None:
    good = line.frame(ReadHoldingRegistersRequest(address=0, count=2, dev_id=1))
    assert line.end.accept(good[:3], 0.0) == []
    assert len(line.end.accept(good[3:] + good, 0.01)) == 2


def test_silence_makes_the_controller_take_its_fall_back_set_point(line: Line) -> None:
    line.write(5, *milli(200.0), 1)
    line.write(30, 60, *milli(40.0))
    line.read(0, 10, now_s=59.0)
    assert line.read(5, 2, now_s=59.5) == list(milli(200.0))
    line.write(7, 1, now_s=59.6)
    assert line.read(5, 2, now_s=110.0) == list(milli(200.0)), "a write within the time renews it"
    assert line.read(5, 2, now_s=122.0) == list(milli(40.0)), "reading alone does not"


def test_without_a_communication_loss_time_the_set_point_stands(line: Line) -> None:
    line.write(5, *milli(200.0), 1)
    assert line.source.controller.fall_back_due_s == math.inf
    assert line.read(5, 2, now_s=7200.0) == list(milli(200.0))
