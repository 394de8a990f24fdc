"""What passes between the program and a plug-in's own process: lines of JSON, plain values only.

Nothing that comes from a plug-in is more than numbers, texts and the few value types of its role: it cannot
bring code with it, and a number that is none is refused.
"""

from __future__ import annotations

import json
import math
import socket
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from types import NoneType, UnionType
from typing import Any, get_args, get_origin, get_type_hints

import drivers.errors
from drivers.errors import InstrumentError, PlugInFault
from drivers.quantities import Quality, Reading
from drivers.roles import BridgeCapabilities, HeatSourceCapabilities, ScannerCapabilities, SourceStatus

LONGEST = 2**20
"""Bytes of one message; far more than any look at an instrument needs."""

_TYPES = {
    kind.__name__: kind
    for kind in (Reading, SourceStatus, HeatSourceCapabilities, BridgeCapabilities, ScannerCapabilities)
}
_KIND = "is a"

Message = dict[str, Any]


class Garbage(ValueError):
    """What came is no message, or holds a value that no role knows."""


class Channel:
    """One end of the pair of sockets; a message is one line. Each call waits, so it belongs into a thread."""

    def __init__(self, end: socket.socket) -> None:
        self._end = end
        self._rest = b""

    def send(self, message: Message) -> None:
        """Raises OSError when the other end is gone."""
        self._end.sendall(json.dumps(message, allow_nan=False).encode() + b"\n")

    def receive(self, within_s: float | None) -> Message:
        """The next message; raises TimeoutError, EOFError when the other end is gone, OSError, Garbage."""
        self._end.settimeout(within_s)
        while b"\n" not in self._rest:
            if len(self._rest) > LONGEST:
                raise Garbage(f"more than {LONGEST} bytes without an end")
            came = self._end.recv(65536)
            if not came:
                raise EOFError
            self._rest += came
        line, _, self._rest = self._rest.partition(b"\n")
        try:
            message = json.loads(line, parse_constant=_no_number)
        except ValueError as error:
            raise Garbage(str(error)) from error
        if not isinstance(message, dict):
            raise Garbage(f"{line[:60]!r} is no message")
        return message

    def close(self) -> None:
        """The other end sees that this one is gone."""
        self._end.close()


def _no_number(text: str) -> float:
    raise Garbage(f"{text} is no number")


def plain(value: object) -> Any:
    """A value of a role as JSON has it; raises Garbage for anything else."""
    if is_dataclass(value) and type(value).__name__ in _TYPES and not isinstance(value, type):
        return {_KIND: type(value).__name__} | {
            one.name: plain(getattr(value, one.name)) for one in fields(value)
        }
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, tuple | list):
        return [plain(one) for one in value]
    if isinstance(value, Mapping) and all(isinstance(key, str) and key != _KIND for key in value):
        return {key: plain(one) for key, one in value.items()}
    if isinstance(value, str | int | NoneType) or (isinstance(value, float) and math.isfinite(value)):
        return value
    raise Garbage(f"gave {value!r:.80}")


def value_of(told: Any) -> Any:
    """What `plain` made into JSON; raises Garbage when a type or a number does not fit."""
    if isinstance(told, list):
        return tuple(value_of(one) for one in told)
    if not isinstance(told, dict):
        return told
    if _KIND not in told:
        return {key: value_of(one) for key, one in told.items()}
    kind = _TYPES.get(told[_KIND])
    if kind is None:
        raise Garbage(f"{told[_KIND]!r} is no value of a role")
    hints = get_type_hints(kind)
    given = {key: value_of(one) for key, one in told.items() if key != _KIND}
    if set(given) != set(hints):
        raise Garbage(f"a {kind.__name__} with {', '.join(sorted(given))}")
    try:
        return kind(
            **{key: _fitting(hints[key], one, f"{kind.__name__}.{key}") for key, one in given.items()}
        )
    except ValueError as error:
        raise Garbage(str(error)) from error


def _fitting(hint: Any, value: Any, what: str) -> Any:
    if isinstance(hint, UnionType):
        return None if value is None else _fitting(get_args(hint)[0], value, what)
    if get_origin(hint) is tuple and isinstance(value, tuple):
        return tuple(_fitting(get_args(hint)[0], one, what) for one in value)
    if hint is Quality:
        return Quality(value)
    if hint is float and isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    if not isinstance(hint, type) or type(value) is not hint:
        raise Garbage(f"{what} is {value!r:.60}")
    return value


def told_error(error: BaseException) -> Message:
    """A failure as a message."""
    return {"kind": "" if isinstance(error, Garbage) else type(error).__name__, "text": str(error)}


def error_of(told: Any, where: str) -> InstrumentError:
    """The same failure where its kind is one of an instrument's, else a PlugInFault that says where."""
    kind, text = (
        (str(told.get(key, ""))[:500] for key in ("kind", "text")) if isinstance(told, dict) else ("", "")
    )
    known = getattr(drivers.errors, kind, None)
    if isinstance(known, type) and issubclass(known, InstrumentError):
        return known(text)
    return PlugInFault(f"{where}: {kind}: {text}" if kind else f"{where}: {text}")
