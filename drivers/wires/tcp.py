"""A TCP connection: text or Modbus TCP, or a serial line behind a converter."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable

from drivers.errors import LinkLost
from drivers.wires.readable import readable
from drivers.wires.wire import Listener

# A peer that does not read is lost before the kernel and we have buffered more than this.
MAX_UNSENT_BYTES = 65536
# Linux only: unacknowledged bytes end the connection after this long; common practice, no source.
USER_TIMEOUT_MS = 10_000


class _Ears(asyncio.Protocol):
    """Passes on what one connection says until it is told to stop."""

    def __init__(self, listener: Listener) -> None:
        self._listener: Listener | None = listener

    def data_received(self, data: bytes) -> None:
        if self._listener is not None:
            self._listener.bytes_came(data)

    def connection_lost(self, exc: Exception | None) -> None:
        if self._listener is not None:
            self._listener.wire_lost(
                f"the connection broke: {exc}" if exc else "the instrument closed the connection"
            )

    def stop(self) -> None:
        """Hear nothing more; a connection given up must not speak into the next one."""
        self._listener = None


class TcpWire:
    """One connection at a time; a reopened one never brings bytes of the one before."""

    fresh_on_reopen = True

    def __init__(self, host: str, port: int) -> None:
        self._host = host
        self._port = port
        self._transport: asyncio.Transport | None = None
        self._ears: _Ears | None = None
        self._readable: Callable[[], bool] | None = None

    async def open(self, listener: Listener) -> None:
        try:
            transport, self._ears = await asyncio.get_running_loop().create_connection(
                lambda: _Ears(listener), self._host, self._port
            )
        except OSError as error:
            raise LinkLost(f"cannot connect to {self._host} port {self._port}: {error}") from error
        self._transport = transport
        connection: socket.socket = transport.get_extra_info("socket")
        _set_options(connection)
        self._readable = readable(connection.fileno())

    def write(self, data: bytes, reply_within_s: float) -> None:
        if self._transport is None or self._transport.is_closing():
            raise LinkLost("the connection is closed")
        if self._transport.get_write_buffer_size() > MAX_UNSENT_BYTES:
            raise LinkLost("the instrument does not take what is sent")
        self._transport.write(data)

    def waiting(self) -> bool:
        return self._readable is not None and self._readable()

    def close(self) -> None:
        if self._ears is not None:
            self._ears.stop()
        if self._transport is not None:
            self._transport.abort()
        self._transport = self._ears = self._readable = None


def _set_options(connection: socket.socket) -> None:
    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    if hasattr(socket, "TCP_USER_TIMEOUT"):
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, USER_TIMEOUT_MS)
