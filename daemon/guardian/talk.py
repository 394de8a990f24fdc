"""One conversation with the controller: say bytes, match the reply, read numbers out of it."""

from __future__ import annotations

import re
import struct
from collections.abc import Iterable

from daemon.guardian.now import monotonic_s, wait
from daemon.guardian.orders import Number, Order, Script
from daemon.guardian.wire import Wire


class NotUnderstood(Exception):
    """No reply, another reply than expected, or one that says no; the message says which."""


class Talk:
    """A conversation over a freshly opened wire."""

    def __init__(self, wire: Wire, script: Script) -> None:
        self._wire = wire
        self._script = script

    def begin(self) -> None:
        """End whatever half command lies on the line, and let what is still coming pass by."""
        if self._script.first:
            self._wire.send(self._script.first)
        wait(self._script.pause_s)
        while self._wire.receive(0.0):
            pass

    def look(self) -> tuple[float, float]:
        """Temperature and set-point in °C; raises NotUnderstood, OSError."""
        look = self._script.look
        found = self._ask(look.send, look.pattern, look.within_s, "status")
        return read_number(look.temperature, found), read_number(look.set_point, found)

    def tell(self, orders: Iterable[Order]) -> None:
        """Each order in turn; raises NotUnderstood, OSError at the first that fails."""
        for order in orders:
            self.order(order)

    def order(self, order: Order) -> None:
        """One order and its confirmation; raises NotUnderstood, OSError."""
        if not order.pattern:
            self._wire.send(order.send)
            return
        found = self._ask(order.send, order.pattern, order.within_s, order.name)
        outcome = found.groupdict().get("outcome")
        if outcome is not None and outcome != order.accept.encode("latin-1"):
            raise NotUnderstood(f"{order.name}: the controller answered {outcome!r}")

    def _ask(self, send: bytes, pattern: str, within_s: float, what: str) -> re.Match[bytes]:
        # Anchored at the end only: what a dead daemon's last question still brings may stand in front.
        shape = re.compile(b"(?:" + pattern.encode("latin-1") + rb")\Z", re.DOTALL)
        self._wire.send(send)
        deadline_s, heard = monotonic_s() + within_s, b""
        while (left_s := deadline_s - monotonic_s()) > 0.0:
            heard += self._wire.receive(left_s)
            if found := shape.search(heard):
                return found
        raise NotUnderstood(f"{what}: {'no answer' if not heard else f'answer {heard[-80:]!r}'}")


def read_number(number: Number, found: re.Match[bytes]) -> float:
    """The number in a reply; raises NotUnderstood when it is none, or outside its range."""
    raw = found[number.name]
    try:
        if number.struct:
            value = float(struct.unpack(number.struct, bytes(raw[i] for i in number.order))[0])
        else:
            value = float(raw)
    except (struct.error, ValueError) as error:
        raise NotUnderstood(f"{number.name}: {raw!r} is not a number") from error
    value = value * number.scale + number.offset
    if not number.low <= value <= number.high:
        raise NotUnderstood(f"{number.name}: {value:g} °C cannot be")
    return value
