"""Faults of the wire itself: the instrument works, its bytes do not arrive as they should."""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Protocol

from simulators.faults import Fault

LATE_S = 5.0
RESET_S = 3.0
WIRE_KINDS = ("silence", "garbage", "late-answer", "half-line", "disconnect", "reset")

Replies = list[tuple[float, bytes]]


class FarEnd(Protocol):
    """An instrument at the far end of a wire."""

    def accept(self, data: bytes, now_s: float) -> Replies:
        """Take bytes at `now_s`; replies as (delay in s, bytes). ConnectionError: it is off the wire."""


class FaultyWire:
    """An instrument behind a wire on which `faults` act while they last."""

    def __init__(self, instrument: FarEnd, faults: Sequence[Fault], chance: random.Random) -> None:
        self._instrument = instrument
        self._faults = faults
        self._chance = chance

    def accept(self, data: bytes, now_s: float) -> Replies:
        """As the instrument's, through whatever is wrong just now."""
        kinds = [fault.kind for fault in self._faults if _acts(fault, now_s)]
        if "disconnect" in kinds or "reset" in kinds:
            raise ConnectionError("the connection broke")
        if "silence" in kinds:
            return []
        replies = self._instrument.accept(data, now_s)
        for kind in kinds:
            replies = [self._spoilt(kind, delay_s, reply) for delay_s, reply in replies]
        return replies

    def _spoilt(self, kind: str, delay_s: float, reply: bytes) -> tuple[float, bytes]:
        if kind == "garbage":
            return delay_s, bytes(self._wrong(byte) for byte in reply[:-1]) + reply[-1:]
        if kind == "half-line":
            return delay_s, reply[: len(reply) // 2]
        return delay_s + LATE_S, reply

    def _wrong(self, byte: int) -> int:
        """Another printable character, or the same by chance."""
        return self._chance.randrange(32, 127) if self._chance.random() < 0.5 else byte


def _acts(fault: Fault, now_s: float) -> bool:
    return fault.active(now_s) and not (fault.kind == "reset" and now_s >= fault.at_s + RESET_S)
