"""Modbus messages: functions 3, 4, 6 and 16 and exceptions, framed for serial lines (RTU) and TCP.

Sources: Modbus Application Protocol Specification V1.1b3, Modbus over Serial Line V1.02, Modbus
Messaging on TCP/IP Implementation Guide V1.0b. A *PDU* is the function code with its data.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field

from drivers.checks import crc16_modbus
from drivers.errors import GarbledReply, Refused

READ_HOLDING = 3
READ_INPUT = 4
WRITE_ONE = 6
WRITE_MANY = 16
MAX_READ = 125
MAX_WRITE = 123

_EXCEPTIONS = {
    1: "function not offered",
    2: "no such register",
    3: "value not allowed",
    4: "device failure",
    5: "accepted, still working",
    6: "busy",
    8: "memory parity error",
    10: "gateway path not available",
    11: "device behind the gateway does not answer",
}


def read_request(function: int, address: int, count: int) -> bytes:
    """PDU that reads `count` registers from `address` (zero-based)."""
    return struct.pack(">BHH", function, address, count)


def write_request(address: int, registers: bytes) -> bytes:
    """PDU that writes registers (two bytes each, as on the wire): function 6 for one, 16 for more."""
    count = len(registers) // 2
    if count == 1:
        return struct.pack(">BH", WRITE_ONE, address) + registers
    return struct.pack(">BHHB", WRITE_MANY, address, count, len(registers)) + registers


def registers_of(request: bytes, reply: bytes) -> bytes:
    """Register bytes of the reply to a read; raises Refused, GarbledReply."""
    _check_function(request, reply)
    count = request[4] | request[3] << 8
    if len(reply) != 2 + 2 * count or reply[1] != 2 * count:
        raise GarbledReply(f"{count} registers were asked for, the reply has {len(reply) - 2} bytes")
    return reply[2:]


def confirm_write(request: bytes, reply: bytes) -> None:
    """The reply to a write repeats its head; raises Refused, GarbledReply."""
    _check_function(request, reply)
    if reply != request[:5]:
        raise GarbledReply("the reply to a write does not repeat what was written")


def _check_function(request: bytes, reply: bytes) -> None:
    if reply[0] == request[0]:
        return
    if reply[0] == request[0] | 0x80 and len(reply) == 2:
        meaning = _EXCEPTIONS.get(reply[1], "meaning unknown")
        raise Refused(f"Modbus exception {reply[1]}: {meaning}")
    raise GarbledReply(f"function {request[0]} was asked, function {reply[0]} answered")


@dataclass(slots=True)
class RtuFraming:
    """Unit address in front, CRC behind; the end is known from the length only."""

    unit: int

    def wrap(self, body: bytes) -> bytes:
        frame = bytes((self.unit,)) + body
        return frame + crc16_modbus(frame).to_bytes(2, "little")

    def complete(self, buffer: bytearray) -> int:
        if len(buffer) < 3:
            return 0
        if buffer[0] != self.unit:
            raise GarbledReply(f"unit {buffer[0]} answered for unit {self.unit}")
        length = _rtu_length(buffer)
        return length if len(buffer) >= length else 0

    def unwrap(self, frame: bytes, sent: bytes) -> bytes:
        if crc16_modbus(frame[:-2]).to_bytes(2, "little") != frame[-2:]:
            raise GarbledReply("the CRC of the reply is wrong")
        return frame[1:-2]


def _rtu_length(buffer: bytearray) -> int:
    function = buffer[1]
    if function & 0x80:
        return 5
    if function in (READ_HOLDING, READ_INPUT):
        return 5 + buffer[2]
    if function in (WRITE_ONE, WRITE_MANY):
        return 8
    raise GarbledReply(f"a reply with function {function} was not asked for")


@dataclass(slots=True)
class TcpFraming:
    """Seven-byte header with a running transaction number, which the reply must repeat."""

    unit: int
    transaction: int = field(default=0)

    def wrap(self, body: bytes) -> bytes:
        self.transaction = (self.transaction + 1) & 0xFFFF
        return struct.pack(">HHHB", self.transaction, 0, len(body) + 1, self.unit) + body

    def complete(self, buffer: bytearray) -> int:
        if len(buffer) < 8:
            return 0
        _, protocol, length = struct.unpack_from(">HHH", buffer)
        if protocol != 0 or not 3 <= length <= 254:
            raise GarbledReply("the reply has no Modbus TCP header")
        return 6 + length if len(buffer) >= 6 + length else 0

    def unwrap(self, frame: bytes, sent: bytes) -> bytes:
        if frame[:2] != sent[:2]:
            raise GarbledReply("the reply belongs to another transaction")
        if frame[6] != self.unit:
            raise GarbledReply(f"unit {frame[6]} answered for unit {self.unit}")
        return frame[7:]
