"""A dry block's or furnace's controller on Modbus (RTU or TCP), unit 1, 32-bit values in big order."""

from __future__ import annotations

import math
import random
import struct
from collections.abc import Callable
from dataclasses import dataclass

from simulators.instruments.modbus_frames import Framing
from simulators.instruments.modbus_unit import ModbusUnit
from simulators.physics.heat import HeatSource

PRODUCT_CODE = 0x0B10
SERIAL = 731
READ, WRITE_ONE, WRITE_MANY = 3, 6, 16
MOST_READ, MOST_WRITTEN = 125, 123
ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_VALUE = 1, 2, 3
SET_POINT_RANGE = (-40_000, 700_000)
RAMP_RANGE = (5, 5_000)

Words = tuple[int, ...]


class Rejected(Exception):
    """The request is answered with a Modbus exception code."""

    def __init__(self, code: int) -> None:
        super().__init__(code)
        self.code = code


@dataclass(frozen=True, slots=True)
class Register:
    """One value: its number of 16-bit words, how it is read, and (when it may be written) range and taker."""

    words: int
    read: Callable[[], Words]
    lowest: int = 0
    highest: int = -1
    take: Callable[[int], None] | None = None


def float_words(value: float) -> Words:
    """A 32-bit float in two words, high word first."""
    return struct.unpack(">HH", struct.pack(">f", value))


def integer_words(value: int) -> Words:
    """A signed 32-bit integer in two words, high word first."""
    return struct.unpack(">HH", struct.pack(">i", value))


class ModbusController(ModbusUnit):
    """The far end of the controller's wire.

    Faults act by the plain attributes `serial`, `deaf_to_writes` (confirms and does nothing) and `frozen`
    (repeats the last temperature).
    """

    unit, answer_s, jitter_s = 1, 0.020, 0.004

    def __init__(
        self,
        source: HeatSource,
        prepare: Callable[[float], None],
        chance: random.Random,
        framing: Framing,
    ) -> None:
        super().__init__(source, prepare, chance, framing)
        self.serial = SERIAL
        self.deaf_to_writes = False
        self.frozen = False
        self._loss_time_s = 0
        self._last_look: Words = ()
        self._registers = self._table()

    @property
    def powered(self) -> bool:
        """As the source is."""
        return self._source.powered

    def answer(self, pdu: bytes, now_s: float) -> bytes:
        """Read or write registers; what cannot be done is answered with an exception code."""
        try:
            if pdu[0] == READ:
                return self._read(pdu)
            if pdu[0] == WRITE_ONE:
                return self._write_one(pdu, now_s)
            if pdu[0] == WRITE_MANY:
                return self._write_many(pdu, now_s)
            raise Rejected(ILLEGAL_FUNCTION)
        except Rejected as rejected:
            return bytes([pdu[0] | 0x80, rejected.code])

    def _read(self, pdu: bytes) -> bytes:
        if len(pdu) != 5:
            raise Rejected(ILLEGAL_VALUE)
        address, count = struct.unpack_from(">HH", pdu, 1)
        if not (1 <= count <= MOST_READ):
            raise Rejected(ILLEGAL_VALUE)
        words = self._words(address, count)
        return struct.pack(f">BB{count}H", READ, 2 * count, *words)

    def _words(self, address: int, count: int) -> list[int]:
        """The words asked for; half a 32-bit value may be read."""
        found: dict[int, int] = {}
        for start, register in self._registers.items():
            if start < address + count and start + register.words > address:
                found.update(enumerate(register.read(), start))
        wanted = range(address, address + count)
        if any(place not in found for place in wanted):
            raise Rejected(ILLEGAL_ADDRESS)
        return [found[place] for place in wanted]

    def _write_one(self, pdu: bytes, now_s: float) -> bytes:
        if len(pdu) != 5:
            raise Rejected(ILLEGAL_VALUE)
        address, value = struct.unpack_from(">HH", pdu, 1)
        self._take(address, (value,), now_s)
        return pdu

    def _write_many(self, pdu: bytes, now_s: float) -> bytes:
        if len(pdu) < 8:
            raise Rejected(ILLEGAL_VALUE)
        address, count, size = struct.unpack_from(">HHB", pdu, 1)
        if not (1 <= count <= MOST_WRITTEN) or size != 2 * count or len(pdu) != 6 + size:
            raise Rejected(ILLEGAL_VALUE)
        self._take(address, struct.unpack_from(f">{count}H", pdu, 6), now_s)
        return pdu[:5]

    def _take(self, address: int, words: Words, now_s: float) -> None:
        """Judge the whole block before any of it is taken; a 32-bit value is written whole or not at all."""
        accepted: list[tuple[Callable[[int], None], int]] = []
        while words:
            register = self._registers.get(address)
            if register is None or register.take is None or len(words) < register.words:
                raise Rejected(ILLEGAL_ADDRESS)
            value = _value(words[: register.words])
            if not (register.lowest <= value <= register.highest):
                raise Rejected(ILLEGAL_VALUE)
            accepted.append((register.take, value))
            address, words = address + register.words, words[register.words :]
        if not self.deaf_to_writes:
            for take, value in accepted:
                take(value)
        due_s = now_s + self._loss_time_s if self._loss_time_s else math.inf
        self._source.controller.fall_back_due_s = due_s

    def _table(self) -> dict[int, Register]:
        source, controller = self._source, self._source.controller
        return {
            0: Register(2, self._look),
            2: Register(2, lambda: float_words(source.output_percent)),
            4: Register(1, self._status),
            5: Register(2, self._set_point, *SET_POINT_RANGE, self._take_set_point),
            7: Register(1, lambda: (int(controller.heater_on),), 0, 1, self._take_heater),
            8: Register(1, lambda: (round(controller.ramp_k_per_min * 100),), *RAMP_RANGE, self._take_ramp),
            9: Register(1, lambda: (int(controller.cooling_on),), 0, 1, self._take_fan),
            30: Register(1, lambda: (self._loss_time_s,), 0, 0xFFFF, self._take_loss_time),
            31: Register(2, self._fall_back, *SET_POINT_RANGE, self._take_fall_back),
            100: Register(1, lambda: (PRODUCT_CODE,)),
            101: Register(2, lambda: integer_words(self.serial)),
            110: Register(2, lambda: integer_words(source.on_s)),
        }

    def _look(self) -> Words:
        if not (self.frozen and self._last_look):
            self._last_look = float_words(round(self._source.displayed_c, 3))
        return self._last_look

    def _status(self) -> Words:
        source, controller = self._source, self._source.controller
        fan = controller.cooling_on or source.stuck_cooling
        return (controller.heater_on | source.over_temperature << 1 | fan << 2,)

    def _set_point(self) -> Words:
        return integer_words(round(self._source.controller.set_point_c * 1000))

    def _fall_back(self) -> Words:
        return integer_words(round(self._source.controller.fall_back_c * 1000))

    def _take_set_point(self, milli: int) -> None:
        self._source.controller.write_set_point(milli / 1000, self._source.sensor_c)

    def _take_heater(self, on: int) -> None:
        self._source.controller.heater_on = bool(on)

    def _take_ramp(self, hundredths: int) -> None:
        self._source.controller.ramp_k_per_min = hundredths / 100

    def _take_fan(self, on: int) -> None:
        self._source.controller.cooling_on = bool(on)

    def _take_loss_time(self, seconds: int) -> None:
        self._loss_time_s = seconds

    def _take_fall_back(self, milli: int) -> None:
        self._source.controller.fall_back_c = milli / 1000


def _value(words: Words) -> int:
    data = struct.pack(f">{len(words)}H", *words)
    return int.from_bytes(data, "big", signed=len(words) > 1)
