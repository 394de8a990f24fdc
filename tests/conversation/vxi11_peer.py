"""A small instrument on VXI-11 (VXIbus TCP/IP Instrument Protocol Specification, revision 1.0) over ONC RPC
(RFC 5531) and its port mapper (RFC 1833): one link, one client.
"""

from __future__ import annotations

import asyncio
import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

from drivers.wires.memory import FarEnd
from tests.conversation.served import loop_in_thread

PORT_MAPPER, PORT_MAPPER_PORT, GET_PORT = 100000, 111, 3
CORE = 0x0607AF
CREATE_LINK, WRITE, READ, CLEAR, DESTROY_LINK = 10, 11, 12, 15, 23
TIMED_OUT, ENDED = 15, 4
LAST_FRAGMENT, LONGEST = 1 << 31, 4096
SUCCESS = struct.pack(">5I", 1, 0, 0, 0, 0)  # a reply, accepted, no verifier, success


class Core(asyncio.Protocol):
    """One connection: RPC calls one after the other. Answers wait in the output queue until they are read."""

    def __init__(self, far_end: FarEnd, port: Callable[[], int]) -> None:
        self._far_end, self._port = far_end, port
        self._buffer = b""
        self._queue = b""
        self._reading: tuple[int, asyncio.TimerHandle] | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport
        self._loop = asyncio.get_running_loop()

    def data_received(self, data: bytes) -> None:
        self._buffer += data
        while len(self._buffer) >= 4:
            length = int.from_bytes(self._buffer[:4], "big") & ~LAST_FRAGMENT
            if len(self._buffer) < 4 + length:
                return
            call, self._buffer = self._buffer[4 : 4 + length], self._buffer[4 + length :]
            self._call(call)

    def _call(self, call: bytes) -> None:
        xid, _, _, program, _, procedure = struct.unpack_from(">6I", call)
        body = call[24:]
        for _ in ("credentials", "verifier"):
            body = body[8 + (int.from_bytes(body[4:8], "big") + 3) // 4 * 4 :]
        if (program, procedure) == (PORT_MAPPER, GET_PORT):
            self._reply(xid, struct.pack(">I", self._port()))
        elif (program, procedure) == (CORE, CREATE_LINK):
            self._reply(xid, struct.pack(">iiII", 0, 7, 0, LONGEST))
        elif (program, procedure) == (CORE, WRITE):
            self._write(xid, body)
        elif (program, procedure) == (CORE, READ):
            self._read(xid, int.from_bytes(body[8:12], "big") / 1000.0)
        elif program == CORE and procedure in (CLEAR, DESTROY_LINK):
            self._queue = b""
            self._reply(xid, struct.pack(">i", 0))
        else:
            self.transport.abort()

    def _write(self, xid: int, body: bytes) -> None:
        size = int.from_bytes(body[16:20], "big")
        self._reply(xid, struct.pack(">iI", 0, size))
        try:
            replies = self._far_end.accept(body[20 : 20 + size], self._loop.time())
        except ConnectionError:
            self.transport.abort()
            return
        for delay_s, reply in replies:
            self._loop.call_later(delay_s, self._answered, reply)

    def _answered(self, reply: bytes) -> None:
        self._queue += reply
        if self._reading is not None:
            xid, timer = self._reading
            timer.cancel()
            self._hand_over(xid)

    def _read(self, xid: int, within_s: float) -> None:
        if self._queue:
            self._hand_over(xid)
        else:
            self._reading = xid, self._loop.call_later(within_s, self._nothing, xid)

    def _nothing(self, xid: int) -> None:
        self._reading = None
        self._reply(xid, struct.pack(">iiI", TIMED_OUT, 0, 0))

    def _hand_over(self, xid: int) -> None:
        data, self._queue, self._reading = self._queue, b"", None
        self._reply(xid, struct.pack(">iiI", 0, ENDED, len(data)) + data + bytes(-len(data) % 4))

    def _reply(self, xid: int, body: bytes) -> None:
        record = struct.pack(">I", xid) + SUCCESS + body
        if not self.transport.is_closing():
            self.transport.write(struct.pack(">I", LAST_FRAGMENT | len(record)) + record)

    def connection_lost(self, exc: Exception | None) -> None:
        self.transport.abort()


@contextmanager
def on_vxi11(far_end: FarEnd, *, port_mapper: bool = False) -> Iterator[str]:
    """The VISA resource behind which `far_end` answers.

    With `port_mapper` its port is asked for at port 111, which not everybody may open: OSError.
    """
    with loop_in_thread() as loop:
        connections: list[Core] = []

        def port() -> int:
            return int(servers[0].sockets[0].getsockname()[1])

        def connect() -> Core:
            connections.append(Core(far_end, port))
            return connections[-1]

        async def stop() -> None:
            for server in servers:
                server.close()
            for connection in connections:
                with suppress(AttributeError):  # connected, but not told of it yet
                    connection.transport.abort()
            await asyncio.sleep(0)

        def listen(at: int) -> asyncio.Server:
            return asyncio.run_coroutine_threadsafe(
                loop.create_server(connect, "127.0.0.1", at), loop
            ).result(5.0)

        servers: list[asyncio.Server] = [listen(0)]
        try:
            servers += [listen(PORT_MAPPER_PORT)] if port_mapper else []
            yield f"TCPIP::127.0.0.1{'' if port_mapper else f',{port()}'}::inst0::INSTR"
        finally:
            asyncio.run_coroutine_threadsafe(stop(), loop).result(5.0)
