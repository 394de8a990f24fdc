"""Instruments for the benchmark, in a process of their own so that they do not compete with the client."""

from __future__ import annotations

import asyncio
import multiprocessing
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection
from random import Random

from tests.conversation.scripted import SmallBath, SmallBridge

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


class OverLimit(asyncio.Protocol):
    """A bridge that now and then reads far too hot, twice; it sends the times of those readings to `tell`."""

    def __init__(self, answer_s: float, tell: Connection) -> None:
        self._tell, self._answer_s = tell, answer_s
        self._small, self._chance, self._readings = SmallBridge(), Random(1), 0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = transport
        self._loop = asyncio.get_running_loop()

    def data_received(self, data: bytes) -> None:
        if b"FRES" in data:
            self._loop.call_later(self._answer_s * self._chance.uniform(0.8, 1.2), self._read, data)
        else:
            self._transport.write(self._small(data))  # type: ignore[attr-defined]

    def _read(self, data: bytes) -> None:
        self._readings += 1
        hot = self._readings % 6 in (4, 5)
        self._small.resistance_ohm = dict.fromkeys(range(1, 9), 200.0 if hot else 140.0)
        reply = self._small(data)
        if hot:
            self._tell.send(self._loop.time())
        self._transport.write(reply)  # type: ignore[attr-defined]


class SwitchedOff(asyncio.Protocol):
    """A bath's controller; of each "heater off" it sends the time at which that came to `tell`."""

    def __init__(self, answer_s: float, tell: Connection) -> None:
        self._tell, self._answer_s, self._small = tell, answer_s, SmallBath()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = transport
        self._loop = asyncio.get_running_loop()

    def data_received(self, data: bytes) -> None:
        if b"WH0" in data:
            self._tell.send(self._loop.time())
        for frame in data.split(b"\r")[:-1]:
            self._loop.call_later(self._answer_s, self._transport.write, self._small(frame + b"\r"))  # type: ignore[attr-defined]


@contextmanager
def over_limit(answer_s: float) -> Iterator[tuple[int, Connection]]:
    """The port of a bridge that reads too hot, and where the times of those readings arrive."""
    with _served(OverLimit, 1, answer_s) as ((port,), hear):
        yield port, hear


@contextmanager
def switched_off(answer_s: float) -> Iterator[tuple[int, Connection]]:
    """The port of a bath's controller, and where the times of "heater off" arrive."""
    with _served(SwitchedOff, 1, answer_s) as ((port,), hear):
        yield port, hear


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
