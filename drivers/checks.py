"""Check values that frames carry: exclusive or, sums and the cyclic redundancy check of Modbus RTU."""

from __future__ import annotations

from functools import reduce
from operator import xor


def xor8(data: bytes) -> int:
    """Exclusive or of all bytes."""
    return reduce(xor, data, 0)


def sum8(data: bytes) -> int:
    """Sum of all bytes, modulo 256."""
    return sum(data) & 0xFF


def lrc8(data: bytes) -> int:
    """Two's complement of the sum, modulo 256 (Modbus over Serial Line 1.02, 2.5.2.2)."""
    return -sum(data) & 0xFF


def _crc16_table_entry(byte: int) -> int:
    for _ in range(8):
        byte = (byte >> 1) ^ 0xA001 if byte & 1 else byte >> 1
    return byte


_CRC16_TABLE = tuple(_crc16_table_entry(byte) for byte in range(256))


def crc16_modbus(data: bytes) -> int:
    """Reflected polynomial 0x8005, start 0xFFFF (Modbus over Serial Line 1.02, 2.5.1.2)."""
    crc = 0xFFFF
    for byte in data:
        crc = (crc >> 8) ^ _CRC16_TABLE[(crc ^ byte) & 0xFF]
    return crc
