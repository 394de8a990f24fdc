"""Reply patterns of the register family: Modbus RTU and TCP, as bytes with the wanted numbers marked."""

from __future__ import annotations

import math
import re
import struct
from collections.abc import Mapping
from typing import Any

from daemon.guardian.orders import Number
from drivers.framing import Framing
from drivers.modbus import READ_HOLDING, READ_INPUT, RtuFraming

_LETTERS = {"int16": "h", "uint16": "H", "int32": "i", "uint32": "I", "float32": "f"}
_WANTED = ("temperature", "set_point")


def register_look(told: Mapping[str, Any], send: bytes, framing: Framing) -> tuple[str, dict[str, Number]]:
    """Pattern and numbers of a block read, from the question's table and the frame that asks."""
    function = READ_INPUT if told.get("table") == "input" else READ_HOLDING
    size = 2 * told["count"]
    numbers = {name: _number(name, told["fields"][name]) for name in _WANTED}
    places = sorted((2 * (told["fields"][n]["at"] - told["address"]), n) for n in _WANTED)
    pattern, at = "", 0
    for place, name in places:
        width = struct.calcsize(numbers[name].struct)
        pattern += f".{{{place - at}}}(?P<{name}>.{{{width}}})"
        at = place + width
    head = _head(send, 2 + size, framing) + _escaped(bytes((function, size)))
    return f"{head}{pattern}.{{{size - at}}}{_tail(framing)}", numbers


def register_reply(body: bytes, send: bytes, framing: Framing) -> str:
    """Pattern of the reply to a write: it repeats the head of what was written."""
    return _head(send, 5, framing) + _escaped(body[:5]) + _tail(framing)


def _number(name: str, field: Mapping[str, Any]) -> Number:
    kind = ">" + _LETTERS[field["type"]]
    low, high = field.get("range", (-math.inf, math.inf))
    order = _order(struct.calcsize(kind), field.get("word_order", "big"), field.get("byte_order", "big"))
    scale, offset = field.get("scale", 1.0), field.get("offset", 0.0)
    return Number(name, kind, order, scale, offset, max(low, -300.0), min(high, 3000.0))


def _order(size: int, word_order: str, byte_order: str) -> tuple[int, ...]:
    """Which byte on the wire is the first, the second … of the number."""
    places = list(range(size))
    if word_order == "little":
        places = places[2:] + places[:2]
    if byte_order == "little":
        places = [place for at in range(0, size, 2) for place in reversed(places[at : at + 2])]
    return tuple(places)


def _head(send: bytes, length: int, framing: Framing) -> str:
    """What stands before the reply's function code."""
    if isinstance(framing, RtuFraming):
        return _escaped(send[:1])
    return _escaped(send[:2] + struct.pack(">HH", 0, length + 1) + send[6:7])


def _tail(framing: Framing) -> str:
    return ".{2}" if isinstance(framing, RtuFraming) else ""


def _escaped(data: bytes) -> str:
    return re.escape(data).decode("latin-1")
