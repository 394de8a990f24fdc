"""A Modbus input module at the bath, unit 2: stirrer contact, level switch, stirrer speed, level."""

from __future__ import annotations

import struct

from simulators.instruments.modbus_unit import ModbusUnit

READ_INPUT = 4
PRODUCT_CODE, SERIAL = 0x0B11, 88
ILLEGAL_FUNCTION, ILLEGAL_ADDRESS = 1, 2
SPEED_PER_MIN, LEVEL_TENTHS_MM, LOW_TENTHS_MM = 320, 1200, 700


class ModbusInterlocks(ModbusUnit):
    """The far end of its wire, read only."""

    unit, answer_s, jitter_s = 2, 0.015, 0.004

    def answer(self, pdu: bytes, now_s: float) -> bytes:
        """The input registers asked for."""
        if pdu[0] != READ_INPUT or len(pdu) != 5:
            return bytes((pdu[0] | 0x80, ILLEGAL_FUNCTION))
        start, count = struct.unpack_from(">HH", pdu, 1)
        words = self._words()
        if not 1 <= count <= 125 or any(at not in words for at in range(start, start + count)):
            return bytes((pdu[0] | 0x80, ILLEGAL_ADDRESS))
        return struct.pack(f">BB{count}H", READ_INPUT, 2 * count, *(words[start + at] for at in range(count)))

    def _words(self) -> dict[int, int]:
        source = self._source
        speed = SPEED_PER_MIN + self._chance.randrange(-4, 5) if source.stirrer_on else 0
        level = LOW_TENTHS_MM if source.level_low else LEVEL_TENTHS_MM
        states = source.stirrer_on | source.level_low << 1
        return {
            0: states,
            1: speed,
            2: level,
            100: PRODUCT_CODE,
            101: 0,
            102: SERIAL,
        }
