"""The instrument's side of a Modbus profile: requests taken apart, registers filled, replies framed."""

from __future__ import annotations

import struct
from collections.abc import Mapping
from typing import Any

from daemon.replay.far_text import Asked, Shown
from drivers.checks import crc16_modbus
from drivers.modbus import READ_HOLDING, READ_INPUT, WRITE_MANY, WRITE_ONE
from drivers.registers import RegisterType

_FUNCTIONS = {"holding": READ_HOLDING, "input": READ_INPUT}
_LONGEST = 1024


class RegisterSide:
    """Made from the tables of a profile that was found good; `serial`: frames of a serial line.

    A request for part of a question's registers is answered too.
    """

    def __init__(self, tables: Mapping[str, Any], unit: int, serial: bool) -> None:
        self._unit = unit
        self._serial = serial
        self._buffer = b""
        self._writes: Mapping[str, Any] = tables.get("write", {})
        self._blocks: dict[Asked, Mapping[str, Any]] = {("identity", ""): tables["identity"]}
        self._blocks |= {("read", name): read for name, read in tables.get("read", {}).items()}

    def names(self, asked: Asked) -> list[str]:
        """The fields of a question, in the order of a look's raw text."""
        return list(self._blocks[asked]["fields"])

    def requests(self, data: bytes) -> list[tuple[bytes, bytes]]:
        """Every complete request to this unit so far: its data unit, and the head of its reply."""
        self._buffer += data
        found = []
        while length := self._length():
            frame, self._buffer = self._buffer[:length], self._buffer[length:]
            if frame[0 if self._serial else 6] != self._unit:
                continue
            if not self._serial:
                found.append((frame[7:], frame[:4]))
            elif crc16_modbus(frame[:-2]).to_bytes(2, "little") == frame[-2:]:
                found.append((frame[1:-2], b""))
            else:
                self._buffer = b""
        return found

    def question(self, body: bytes) -> Asked | None:
        """Which question's registers are asked for; None when they are of none."""
        if len(body) != 5 or body[0] not in _FUNCTIONS.values():
            return None
        function, first, count = struct.unpack(">BHH", body)
        for asked, block in self._blocks.items():
            start, end = block["address"], block["address"] + block["count"]
            if function == _function(block) and start <= first and first + count <= end and count:
                return asked
        return None

    def answer(self, asked: Asked, body: bytes, shown: Mapping[str, Shown], envelope: bytes) -> bytes:
        """The reply to a question in which the fields show this."""
        function, first, count = struct.unpack(">BHH", body)
        block = self._blocks[asked]
        begin = 2 * (first - block["address"])
        registers = _filled(block, shown)[begin : begin + 2 * count]
        return self._framed(bytes((function, len(registers))) + registers, envelope)

    def command(self, body: bytes) -> tuple[str, float] | None:
        """Name and value of a command, a switch as 1 or 0; None when it is none of the profile's."""
        if len(body) < 5 or body[0] not in (WRITE_ONE, WRITE_MANY):
            return None
        address, registers = body[1] << 8 | body[2], body[3:] if body[0] == WRITE_ONE else body[6:]
        for name, write in self._writes.items():
            kind = _kind(write)
            if write["at"] == address and len(registers) == 2 * kind.count:
                number = kind.unpacker(0)(registers)
                if "on" in write:
                    return name, float(number == write["on"])
                return name, number * write.get("scale", 1.0) + write.get("offset", 0.0)
        return None

    def accepted(self, name: str, body: bytes, envelope: bytes) -> bytes:
        """The reply to a write repeats its head."""
        return self._framed(body[:5], envelope)

    def _framed(self, body: bytes, envelope: bytes) -> bytes:
        frame = bytes((self._unit,)) + body
        if self._serial:
            return frame + crc16_modbus(frame).to_bytes(2, "little")
        return envelope + len(frame).to_bytes(2, "big") + frame

    def _length(self) -> int:
        """Length of the request that begins in the buffer; 0 while it is not complete."""
        if len(self._buffer) > _LONGEST:
            self._buffer = b""
        if len(self._buffer) < 8:
            return 0
        if not self._serial:
            length = 6 + int.from_bytes(self._buffer[4:6], "big")
        else:
            length = 9 + self._buffer[6] if self._buffer[1] == WRITE_MANY else 8
        return length if len(self._buffer) >= length else 0


def _function(block: Mapping[str, Any]) -> int:
    return _FUNCTIONS[block.get("table", "holding")]


def _kind(field: Mapping[str, Any]) -> RegisterType:
    return RegisterType(field["type"], field.get("word_order", "big"), field.get("byte_order", "big"))


def _filled(block: Mapping[str, Any], shown: Mapping[str, Shown]) -> bytes:
    """The block's registers; those that no field is about read 0."""
    registers = bytearray(2 * block["count"])
    for name, field in block["fields"].items():
        kind, begin = _kind(field), 2 * (field["at"] - block["address"])
        registers[begin : begin + 2 * kind.count] = _packed(field, kind, shown[name], registers, begin)
    return bytes(registers)


def _packed(
    field: Mapping[str, Any], kind: RegisterType, shown: Shown, registers: bytearray, begin: int
) -> bytes:
    if isinstance(shown, str):
        return bytes.fromhex(shown)
    if not isinstance(shown, bool):
        return kind.pack((shown - field.get("offset", 0.0)) / field.get("scale", 1.0))
    if "on" in field:
        return kind.pack(field["on" if shown else "off"])
    return kind.pack(int(kind.unpacker(begin)(bytes(registers))) | int(shown) << field["bit"])
