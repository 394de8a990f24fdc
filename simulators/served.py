"""Put a bench's instruments on TCP sockets and pseudo-terminals, in real or scaled time."""

from __future__ import annotations

import asyncio
import os
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from typing import Protocol

from simulators.wire_faults import FarEnd

READ_SIZE = 4096


class Stand(Protocol):
    """Whatever instruments stand on, such as a scene."""

    def instrument(self, name: str) -> FarEnd:
        """The far end of the wire to one of them."""


class ScaledTime:
    """The bench's seconds: `factor` of them pass in each real second, from 0 on."""

    def __init__(self, factor: float) -> None:
        if not (0.001 <= factor <= 1e6):
            raise ValueError(f"the time factor must be 0.001 to 1000000, not {factor!r}")
        self._loop = asyncio.get_running_loop()
        self._start_s = self._loop.time()
        self.factor = factor

    def now_s(self) -> float:
        """The bench's time in s."""
        return (self._loop.time() - self._start_s) * self.factor

    def exchange(self, end: FarEnd, data: bytes, send: Callable[[bytes], None]) -> None:
        """Give `data` to the instrument; its replies go to `send` when they are due.

        Raises ConnectionError when the instrument is off the wire.
        """
        for delay_s, reply in end.accept(data, self.now_s()):
            self._loop.call_later(delay_s / self.factor, send, reply)


@asynccontextmanager
async def served(
    stand: Stand, carriers: Mapping[str, str], factor: float = 1.0
) -> AsyncIterator[dict[str, str]]:
    """Serve each instrument named on the carrier asked for ("tcp" or "pty"); yields name → address.

    Addresses are `tcp://127.0.0.1:PORT` and `serial:/dev/...`, with the line settings of a
    pseudo-terminal, which knows no parity. Raises ValueError for another carrier.
    """
    time = ScaledTime(factor)
    async with AsyncExitStack() as stack:
        addresses = {}
        for name, carrier in carriers.items():
            if carrier not in CARRIERS:
                raise ValueError(f"{name}: the carrier is tcp or pty, not {carrier!r}")
            addresses[name] = await stack.enter_async_context(CARRIERS[carrier](stand.instrument(name), time))
        yield addresses


@asynccontextmanager
async def _on_tcp(end: FarEnd, time: ScaledTime) -> AsyncIterator[str]:
    loop = asyncio.get_running_loop()
    open_connections: set[asyncio.BaseTransport] = set()
    server = await loop.create_server(lambda: _Connection(end, time, open_connections), "127.0.0.1", 0)
    async with server:
        yield f"tcp://127.0.0.1:{server.sockets[0].getsockname()[1]}"
        for transport in list(open_connections):
            transport.close()


class _Connection(asyncio.Protocol):
    """One client; several may be connected to the same instrument."""

    def __init__(self, end: FarEnd, time: ScaledTime, open_connections: set[asyncio.BaseTransport]) -> None:
        self._end, self._time, self._open = end, time, open_connections
        self._transport: asyncio.BaseTransport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = transport
        self._open.add(transport)

    def data_received(self, data: bytes) -> None:
        try:
            self._time.exchange(self._end, data, self._send)
        except ConnectionError:
            if self._transport is not None:
                self._transport.close()

    def connection_lost(self, exc: Exception | None) -> None:
        if self._transport is not None:
            self._open.discard(self._transport)

    def _send(self, reply: bytes) -> None:
        if isinstance(self._transport, asyncio.WriteTransport) and not self._transport.is_closing():
            self._transport.write(reply)


@asynccontextmanager
async def _on_pseudo_terminal(end: FarEnd, time: ScaledTime) -> AsyncIterator[str]:
    if not hasattr(os, "openpty"):
        raise ValueError("this system has no pseudo-terminals; serve on tcp instead")
    import tty  # not everywhere either

    loop = asyncio.get_running_loop()
    master, slave = os.openpty()  # the slave stays open here, so that a client may come and go
    tty.setraw(slave)
    alive = True

    def send(reply: bytes) -> None:
        if alive:
            os.write(master, reply)

    def hear() -> None:
        with suppress(ConnectionError):  # on a serial line an instrument that is off is merely silent
            time.exchange(end, os.read(master, READ_SIZE), send)

    loop.add_reader(master, hear)
    try:
        yield f"serial:{os.ttyname(slave)}?bits=8&parity=N"
    finally:
        alive = False
        loop.remove_reader(master)
        os.close(master)
        os.close(slave)


CARRIERS = {"tcp": _on_tcp, "pty": _on_pseudo_terminal}
