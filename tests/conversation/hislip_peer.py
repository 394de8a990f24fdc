"""A small instrument on HiSLIP, from the published specification IVI-6.1: synchronized mode, one client."""

from __future__ import annotations

import asyncio
import struct
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from drivers.wires.memory import FarEnd
from tests.conversation.served import loop_in_thread

HEADER = struct.Struct(">2sBBIQ")
INITIALIZE, DATA_END, CLEAR_COMPLETE = 0, 7, 8
MAX_SIZE, ASYNC_INITIALIZE, ASYNC_CLEAR = 15, 17, 19
ANSWERS = {CLEAR_COMPLETE: 9, MAX_SIZE: 16, ASYNC_INITIALIZE: 18, ASYNC_CLEAR: 23}
"""Message types that are answered by one of their own, with the payload they brought."""


class Channel(asyncio.Protocol):
    """The synchronous or the asynchronous connection; which it is, its first message says."""

    def __init__(self, far_end: FarEnd) -> None:
        self._far_end = far_end
        self._buffer = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        self._loop = asyncio.get_running_loop()

    def data_received(self, data: bytes) -> None:
        self._buffer += data
        while len(self._buffer) >= HEADER.size:
            prologue, kind, _, parameter, size = HEADER.unpack_from(self._buffer)
            assert prologue == b"HS"
            if len(self._buffer) < HEADER.size + size:
                return
            payload = self._buffer[HEADER.size : HEADER.size + size]
            self._buffer = self._buffer[HEADER.size + size :]
            self._message(kind, parameter, payload)

    def _message(self, kind: int, parameter: int, payload: bytes) -> None:
        if kind == INITIALIZE:
            self._send(1, 1 << 24 | 7, b"")
        elif kind == DATA_END:
            self._answer(parameter, payload)
        else:
            self._send(ANSWERS[kind], 0, payload)

    def _answer(self, message_id: int, data: bytes) -> None:
        """The reply carries the number of its question, and so says which one it belongs to."""
        for delay_s, reply in self._far_end.accept(data, self._loop.time()):
            self._loop.call_later(delay_s, self._send, DATA_END, message_id, reply)

    def _send(self, kind: int, parameter: int, payload: bytes) -> None:
        if not self._transport.is_closing():
            self._transport.write(HEADER.pack(b"HS", kind, 0, parameter, len(payload)) + payload)

    def connection_lost(self, exc: Exception | None) -> None:
        self._transport.abort()


@contextmanager
def on_hislip(far_end: FarEnd) -> Iterator[str]:
    """The VISA resource behind which `far_end` answers."""
    with loop_in_thread() as loop:
        channels: list[Channel] = []

        def connect() -> Channel:
            channels.append(Channel(far_end))
            return channels[-1]

        async def start() -> asyncio.Server:
            return await loop.create_server(connect, "127.0.0.1", 0)

        async def stop() -> None:
            server.close()
            for channel in channels:
                with suppress(AttributeError):  # connected, but not told of it yet
                    channel._transport.abort()
            await asyncio.sleep(0)

        server = asyncio.run_coroutine_threadsafe(start(), loop).result(5.0)
        try:
            yield f"TCPIP::127.0.0.1::hislip0,{server.sockets[0].getsockname()[1]}::INSTR"
        finally:
            asyncio.run_coroutine_threadsafe(stop(), loop).result(5.0)
