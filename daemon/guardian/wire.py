"""The guardian's own way to the controller: a TCP connection or a serial port, nothing buffered."""

from __future__ import annotations

import os
import select
import socket
import termios
import tty
from collections.abc import Callable

from daemon.guardian.now import monotonic_s
from daemon.guardian.orders import Way

OPEN_WITHIN_S = 2.0
_BITS = {7: termios.CS7, 8: termios.CS8}


class Wire:
    """Bytes out, bytes in; raises OSError when the way is gone."""

    def __init__(self, descriptor: int, close: Callable[[], None]) -> None:
        self._descriptor = descriptor
        self._poll = select.poll()
        self._poll.register(descriptor, select.POLLIN)
        self.close = close

    def send(self, data: bytes) -> None:
        """All of it; what the line does not take at once is waited for, but not for long."""
        give_up_s = monotonic_s() + OPEN_WITHIN_S
        while data:
            try:
                data = data[os.write(self._descriptor, data) :]
            except BlockingIOError:
                left_s = give_up_s - monotonic_s()
                if left_s <= 0.0:
                    raise
                select.select([], [self._descriptor], [], left_s)

    def receive(self, within_s: float) -> bytes:
        """What has come, waiting at most `within_s` for the first byte; empty when nothing came."""
        if not self._poll.poll(max(0.0, within_s) * 1000.0):
            return b""
        data = os.read(self._descriptor, 4096)
        if not data:
            raise ConnectionError("the controller closed the connection")
        return data


def open_wire(way: Way) -> Wire:
    """Open the way to the controller; raises OSError."""
    return _tcp(way) if way.kind == "tcp" else _serial(way)


def _tcp(way: Way) -> Wire:
    connection = socket.create_connection((way.place, way.port), OPEN_WITHIN_S)
    connection.setblocking(False)
    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return Wire(connection.fileno(), connection.close)


def _serial(way: Way) -> Wire:
    descriptor = os.open(way.place, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        _set_line(descriptor, way)
    except (OSError, termios.error) as error:
        os.close(descriptor)
        raise OSError(f"{way.place} takes no line settings: {error}") from error
    return Wire(descriptor, lambda: os.close(descriptor))


def _set_line(descriptor: int, way: Way) -> None:
    tty.setraw(descriptor, termios.TCSANOW)
    line = termios.tcgetattr(descriptor)
    flags = line[2] & ~(termios.CSIZE | termios.PARENB | termios.PARODD | termios.CSTOPB)
    flags |= _BITS[way.bits] | termios.CREAD | termios.CLOCAL
    flags |= termios.CSTOPB if way.stop == 2 else 0
    flags |= {"N": 0, "E": termios.PARENB, "O": termios.PARENB | termios.PARODD}[way.parity]
    line[2], line[4], line[5] = flags, speed(way.baud), speed(way.baud)
    termios.tcsetattr(descriptor, termios.TCSANOW, line)
    termios.tcflush(descriptor, termios.TCIFLUSH)


def speed(baud: int) -> int:
    """The system's constant for a speed; raises AttributeError for one that it does not know."""
    constant: int = getattr(termios, f"B{baud}")
    return constant
