"""Puts a far end on a real loopback socket or a pseudo-terminal, in a thread with its own event loop."""

from __future__ import annotations

import asyncio
import os
import threading
import tty
from collections.abc import Callable, Coroutine, Iterator
from contextlib import contextmanager, suppress
from typing import Any

from drivers.wires.memory import FarEnd


@contextmanager
def loop_in_thread() -> Iterator[asyncio.AbstractEventLoop]:
    """An event loop that runs beside the test and is gone afterwards."""
    loop = asyncio.new_event_loop()
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    try:
        yield loop
    finally:
        asyncio.run_coroutine_threadsafe(_cancel_all(), loop).result(5.0)
        loop.call_soon_threadsafe(loop.stop)
        thread.join(5.0)
        loop.close()


async def _cancel_all() -> None:
    tasks = asyncio.all_tasks() - {asyncio.current_task()}
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)


@contextmanager
def on_tcp(far_end: FarEnd) -> Iterator[int]:
    """A TCP port of this machine behind which `far_end` answers; a ConnectionError hangs up."""
    with loop_in_thread() as loop:
        connections: list[_Connection] = []
        server = _call(loop, _listen(loop, far_end, connections))
        try:
            yield server.sockets[0].getsockname()[1]
        finally:
            _call(loop, _stop(server, connections))


def _call(loop: asyncio.AbstractEventLoop, work: Coroutine[Any, Any, Any]) -> Any:
    return asyncio.run_coroutine_threadsafe(work, loop).result(5.0)


async def _listen(
    loop: asyncio.AbstractEventLoop, far_end: FarEnd, connections: list[_Connection]
) -> asyncio.Server:
    def connect() -> _Connection:
        connections.append(_Connection(far_end, loop))
        return connections[-1]

    return await loop.create_server(connect, "127.0.0.1", 0)


async def _stop(server: asyncio.Server, connections: list[_Connection]) -> None:
    server.close()
    for connection in connections:
        connection.transport.abort()
    await asyncio.sleep(0)


class _Connection(asyncio.Protocol):
    def __init__(self, far_end: FarEnd, loop: asyncio.AbstractEventLoop) -> None:
        self._far_end, self._loop = far_end, loop

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport

    def data_received(self, data: bytes) -> None:
        try:
            _answer(self._far_end, self._loop, data, self._write)
        except ConnectionError:
            self.transport.abort()

    def _write(self, data: bytes) -> None:
        if not self.transport.is_closing():
            self.transport.write(data)

    def connection_lost(self, exc: Exception | None) -> None:
        self.transport.abort()


def _answer(
    far_end: FarEnd, loop: asyncio.AbstractEventLoop, data: bytes, write: Callable[[bytes], object]
) -> None:
    for delay_s, reply in far_end.accept(data, loop.time()):
        loop.call_later(delay_s, write, reply) if delay_s else write(reply)


@contextmanager
def on_pty(far_end: FarEnd) -> Iterator[str]:
    """A pseudo-terminal on whose other side `far_end` answers."""
    near, far = os.openpty()
    tty.setraw(near)
    tty.setraw(far)
    name = os.ttyname(far)
    with loop_in_thread() as loop:

        def read() -> None:
            _answer(far_end, loop, os.read(near, 4096), write)

        def write(data: bytes) -> None:
            with suppress(OSError):
                os.write(near, data)

        loop.call_soon_threadsafe(loop.add_reader, near, read)
        try:
            yield name
        finally:
            loop.call_soon_threadsafe(loop.remove_reader, near)
    os.close(near)
    os.close(far)


async def until(condition: Callable[[], bool], within_s: float = 3.0) -> None:
    """Look again every millisecond; fails when it does not come true in time."""
    for _ in range(round(1000 * within_s)):
        if condition():
            return
        await asyncio.sleep(0.001)
    raise AssertionError(f"it did not come true within {within_s:g} s")
