"""Numbers in Modbus registers: 16-bit words, high word first or low word first."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass

from drivers.errors import OutsideLimits

_LETTERS = {"int16": "h", "uint16": "H", "int32": "i", "uint32": "I", "float32": "f"}
TYPES = tuple(_LETTERS)
ORDERS = ("big", "little")


@dataclass(frozen=True, slots=True)
class RegisterType:
    """How one number lies in registers.

    `word_order` "big" puts the high word in the lower register; `byte_order` "big" puts the high
    byte first within a word, as the Modbus specification says; "little" is met in the field.
    """

    name: str
    word_order: str = "big"
    byte_order: str = "big"

    @property
    def count(self) -> int:
        """Registers taken: 1 or 2."""
        return 1 if self.name.endswith("16") else 2

    def unpacker(self, at: int) -> Callable[[bytes], float]:
        """A function that takes the number beginning at byte `at` of registers as on the wire."""
        packed = struct.Struct(">" + _LETTERS[self.name])
        if self.word_order == self.byte_order == "big":
            unpack_from = packed.unpack_from
            return lambda registers: unpack_from(registers, at)[0]
        end = at + packed.size
        return lambda registers: packed.unpack(self._ordered(registers[at:end]))[0]

    def pack(self, number: float) -> bytes:
        """Register bytes; whole-number types round to nearest. Raises OutsideLimits on overflow."""
        try:
            value = number if self.name == "float32" else round(number)
            return self._ordered(struct.pack(">" + _LETTERS[self.name], value))
        except (struct.error, OverflowError, ValueError) as error:
            raise OutsideLimits(f"{number} does not fit into a register of type {self.name}") from error

    def _ordered(self, registers: bytes) -> bytes:
        if self.word_order == "little":
            registers = registers[2:] + registers[:2]
        if self.byte_order == "little":
            registers = b"".join(registers[at : at + 2][::-1] for at in range(0, len(registers), 2))
        return registers
