"""Instruments for the benchmark, in a process of their own so that they do not compete with the client."""

from __future__ import annotations

import asyncio
import multiprocessing
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection

from tests.conversation.scripted import SmallBridge

SCANNER_CHANNELS = 32
BUSY_ANSWER_S = 0.05


class Stamping(asyncio.Protocol):
    """Answers with the time; of `OFF` it sends the time at which that came to `tell`."""

    def __init__(self, answer_s: float, tell: Connection) -> None:
        self._answer_s, self._tell = answer_s, tell

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = transport
        self._loop = asyncio.get_running_loop()

    def data_received(self, data: bytes) -> None:
        for line in data.splitlines():
            if line == b"OFF":
                self._tell.send(self._loop.time())
            elif self._answer_s:
                self._loop.call_later(self._answer_s, self._say)
            else:
                self._say()

    def _say(self) -> None:
        self._transport.write(b"%.9f\n" % self._loop.time())  # type: ignore[attr-defined]


class Scanner(asyncio.Protocol):
    """A bridge with a 32-channel scanner and conversions of one second."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = transport
        small = SmallBridge()
        small.resistance_ohm = {channel: 100.0 + channel for channel in range(1, SCANNER_CHANNELS + 1)}
        self._end = small.far_end()
        self._loop = asyncio.get_running_loop()

    def data_received(self, data: bytes) -> None:
        for delay_s, reply in self._end.accept(data, self._loop.time()):
            # Replies without a conversion come at once; the scripted bridge gives them 10 ms.
            self._loop.call_later(delay_s if delay_s >= 1.0 else 0.0, self._transport.write, reply)  # type: ignore[attr-defined]


@contextmanager
def stamping(count: int, answer_s: float) -> Iterator[tuple[list[int], Connection]]:
    """`count` stamping instruments; yields their ports and where the times of `OFF` arrive."""
    with _served(_stamping, count, answer_s) as found:
        yield found


@contextmanager
def scanner() -> Iterator[int]:
    """The port of one scanning bridge."""
    with _served(_scanner, 1, 0.0) as (ports, _):
        yield ports[0]


def _stamping(answer_s: float, tell: Connection) -> asyncio.Protocol:
    return Stamping(answer_s, tell)


def _scanner(answer_s: float, tell: Connection) -> asyncio.Protocol:
    return Scanner()


@contextmanager
def _served(
    kind: Callable[[float, Connection], asyncio.Protocol], count: int, answer_s: float
) -> Iterator[tuple[list[int], Connection]]:
    hear, tell = multiprocessing.Pipe(duplex=False)
    process = multiprocessing.Process(target=_serve, args=(kind, count, answer_s, tell), daemon=True)
    process.start()
    try:
        yield hear.recv(), hear
    finally:
        process.terminate()
        process.join()


def _serve(
    kind: Callable[[float, Connection], asyncio.Protocol], count: int, answer_s: float, tell: Connection
) -> None:
    async def main() -> None:
        loop = asyncio.get_running_loop()
        servers = [
            await loop.create_server(lambda: kind(answer_s, tell), "127.0.0.1", 0) for _ in range(count)
        ]
        tell.send([server.sockets[0].getsockname()[1] for server in servers])
        await asyncio.Event().wait()

    asyncio.run(main())
