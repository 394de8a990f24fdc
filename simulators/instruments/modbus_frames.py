"""Modbus framing: what belongs round a protocol data unit on a serial line and on TCP.

Source: Modbus application protocol specification V1.1b3, Modbus over serial line specification V1.02.
"""

from __future__ import annotations

import struct
from typing import Protocol

WRITE_MULTIPLE = 16
SILENCE_S = 0.05
SHORTEST_RTU = 8
HEADER = struct.Struct(">HHHB")
LONGEST_PDU = 253


def crc16(data: bytes) -> int:
    """The CRC of the serial line specification: polynomial 0xA001, start 0xFFFF."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc


class Framing(Protocol):
    """Collects bytes into (unit, protocol data unit, envelope) and wraps the answer the same way."""

    def requests(self, data: bytes, now_s: float) -> list[tuple[int, bytes, bytes]]:
        """Complete requests so far."""

    def wrap(self, unit: int, pdu: bytes, envelope: bytes) -> bytes:
        """One reply frame."""


class RtuFraming:
    """Serial line: address, data unit, CRC low byte first; a pause starts a new frame."""

    def __init__(self) -> None:
        self._buffer = b""
        self._heard_s = 0.0

    def requests(self, data: bytes, now_s: float) -> list[tuple[int, bytes, bytes]]:
        """Complete requests with a correct CRC; anything else is thrown away unanswered."""
        if now_s - self._heard_s > SILENCE_S:
            self._buffer = b""
        self._heard_s = now_s
        self._buffer += data
        found = []
        while (length := self._length()) and len(self._buffer) >= length:
            frame, self._buffer = self._buffer[:length], self._buffer[length:]
            if crc16(frame[:-2]) == int.from_bytes(frame[-2:], "little"):
                found.append((frame[0], frame[1:-2], b""))
            else:
                self._buffer = b""
        return found

    def _length(self) -> int:
        """Length of the frame that begins in the buffer, 0 while that cannot be told."""
        if len(self._buffer) < 7:
            return 0
        return 9 + self._buffer[6] if self._buffer[1] == WRITE_MULTIPLE else SHORTEST_RTU

    def wrap(self, unit: int, pdu: bytes, envelope: bytes) -> bytes:
        """One reply frame."""
        body = bytes([unit]) + pdu
        return body + crc16(body).to_bytes(2, "little")


class TcpFraming:
    """TCP: transaction, protocol 0, length, unit, data unit."""

    def __init__(self) -> None:
        self._buffer = b""

    def requests(self, data: bytes, now_s: float) -> list[tuple[int, bytes, bytes]]:
        """Complete requests; a header that cannot be right throws the buffer away."""
        self._buffer += data
        found = []
        while len(self._buffer) >= HEADER.size:
            transaction, protocol, length, unit = HEADER.unpack_from(self._buffer)
            if protocol != 0 or not (2 <= length <= LONGEST_PDU + 1):
                self._buffer = b""
                break
            if len(self._buffer) < 6 + length:
                break
            pdu, self._buffer = self._buffer[HEADER.size : 6 + length], self._buffer[6 + length :]
            found.append((unit, pdu, transaction.to_bytes(2, "big")))
        return found

    def wrap(self, unit: int, pdu: bytes, envelope: bytes) -> bytes:
        """One reply frame under the request's transaction number."""
        return HEADER.pack(int.from_bytes(envelope, "big"), 0, len(pdu) + 1, unit) + pdu
