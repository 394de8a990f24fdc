"""Instruments behind PyVISA (GPIB, USBTMC, VXI-11, HiSLIP, or any resource on request).

PyVISA calls block. Each session has one daemon thread that does one thing at a time; a thread that
hangs is abandoned, never waited for.
"""

from __future__ import annotations

import asyncio
import queue
import socket
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING

from drivers.errors import LinkLost
from drivers.profile_model import SerialSettings
from drivers.wires.wire import Listener

if TYPE_CHECKING:
    from pyvisa.resources import MessageBasedResource, SerialInstrument

SLICE_MS = 50
IDLE_S = 0.05
OPEN_TIMEOUT_MS = 3000
CHUNK_BYTES = 20480


class VisaWire:
    """One VISA session. `backend` is always named: the default depends on what is installed.

    `reply_end` is the last byte of a reply. Message buses are cleared when opened, so a reopened
    session is fresh; a serial resource is not.
    """

    def __init__(self, resource: str, backend: str, reply_end: bytes, line: SerialSettings) -> None:
        self.fresh_on_reopen = not resource.upper().startswith("ASRL")
        self._resource = resource
        self._backend = backend
        self._reply_end = reply_end
        self._line = line
        self._session: _Session | None = None

    async def open(self, listener: Listener) -> None:
        loop = asyncio.get_running_loop()
        session = _Session(self._resource, self._backend, self._reply_end, self._line, loop, listener)
        self._session = session
        await session.opened

    def write(self, data: bytes, reply_within_s: float) -> None:
        if self._session is None:
            raise LinkLost("the VISA session is closed")
        self._session.ask(data, reply_within_s)

    def waiting(self) -> bool:
        return False

    def close(self) -> None:
        if self._session is not None:
            self._session.stop()
            self._session = None


class _Session:
    """The thread of one VISA session."""

    def __init__(
        self,
        resource: str,
        backend: str,
        reply_end: bytes,
        line: SerialSettings,
        loop: asyncio.AbstractEventLoop,
        listener: Listener,
    ) -> None:
        self._jobs: queue.SimpleQueue[tuple[int, bytes, float] | None] = queue.SimpleQueue()
        self._written = 0
        self._stream = _is_stream(resource)
        self.opened: asyncio.Future[None] = loop.create_future()
        self._name = resource
        self._backend = backend
        self._reply_end = reply_end
        self._line = line
        self._loop = loop
        self._listener: Listener | None = listener
        threading.Thread(target=self._run, name=f"visa {resource}", daemon=True).start()

    def ask(self, data: bytes, within_s: float) -> None:
        """Queue a question; what was read before it can then no longer count as its answer."""
        self._written += 1
        self._jobs.put((self._written, data, within_s))

    def stop(self) -> None:
        """Hear nothing more; the thread closes the session when it gets to it."""
        self._listener = None
        self._jobs.put(None)

    def _run(self) -> None:
        try:
            resource = self._open()
        except Exception as error:  # noqa: BLE001 - PyVISA raises OSError, ValueError and bare Exception alike
            reason = f"cannot open {self._name} with {self._backend}: {' '.join(str(error).split())}"
            self._on_loop(lambda: self._settle(LinkLost(reason)))
            return
        self._on_loop(lambda: self._settle(None))
        try:
            self._serve(resource)
        except Exception as error:  # noqa: BLE001 - as above
            reason = f"VISA: {error}"
            self._tell(lambda listener: listener.wire_lost(reason))
        finally:
            resource.close()

    def _open(self) -> MessageBasedResource:
        import pyvisa
        from pyvisa.resources import MessageBasedResource, SerialInstrument

        resource = pyvisa.ResourceManager(self._backend).open_resource(
            self._name, open_timeout=OPEN_TIMEOUT_MS
        )
        try:
            if not isinstance(resource, MessageBasedResource):
                raise LinkLost("this resource carries no messages")
            resource.read_termination = self._reply_end.decode("ascii")[-1:]
            if isinstance(resource, SerialInstrument):
                _set_line(resource, self._line)
            elif not self._stream:
                resource.clear()
            _send_at_once(resource)
        except BaseException:
            resource.close()
            raise
        return resource

    def _serve(self, resource: MessageBasedResource) -> None:
        number = 0
        while True:
            try:
                job = self._jobs.get(timeout=IDLE_S if self._stream else None)
            except queue.Empty:
                if unasked := _read_available(resource):
                    self._came(number, unasked)
                continue
            if job is None:
                return
            number = job[0]
            self._talk(resource, *job)

    def _talk(self, resource: MessageBasedResource, number: int, data: bytes, within_s: float) -> None:
        if self._stream:
            self._report_early(resource)
        resource.write_raw(data)
        if within_s:
            give_up_s = self._loop.time() + within_s
            if self._stream and not self._wait_for_first(resource, number, give_up_s):
                return
            self._read(resource, number, give_up_s)

    def _report_early(self, resource: MessageBasedResource) -> None:
        """Bytes that came before the question: they must never be taken for its answer."""
        if early := _read_available(resource):
            raise LinkLost(f"{len(early)} bytes were waiting before the question was sent")

    def _wait_for_first(self, resource: MessageBasedResource, number: int, give_up_s: float) -> bool:
        """Wait in slices, so that a halt or a close is not held up by an instrument that is silent."""
        while self._listener is not None and self._jobs.empty() and self._loop.time() < give_up_s:
            first = _read_within(resource, 1, SLICE_MS)
            if first:
                self._came(number, first)
                return first != self._reply_end[-1:]
        return False

    def _read(self, resource: MessageBasedResource, number: int, give_up_s: float) -> None:
        left_ms = max(1, round(1000.0 * (give_up_s - self._loop.time())))
        rest = _read_within(resource, CHUNK_BYTES, left_ms)
        if rest:
            self._came(number, rest)
        elif not self._stream:
            resource.clear()

    def _came(self, number: int, data: bytes) -> None:
        def tell(listener: Listener) -> None:
            if number == self._written:
                listener.bytes_came(data)
            else:
                listener.wire_lost("bytes of an earlier question came after the next was sent")

        self._tell(tell)

    def _tell(self, tell: Callable[[Listener], None]) -> None:
        def on_loop() -> None:
            if self._listener is not None:
                tell(self._listener)

        self._on_loop(on_loop)

    def _on_loop(self, call: Callable[[], None]) -> None:
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(call)

    def _settle(self, error: LinkLost | None) -> None:
        if self.opened.done():
            return
        if error is None:
            self.opened.set_result(None)
        else:
            self.opened.set_exception(error)


def _is_stream(name: str) -> bool:
    return name.upper().startswith("ASRL") or name.upper().endswith("SOCKET")


def _send_at_once(resource: MessageBasedResource) -> None:
    """A command must not wait for the acknowledgement of the one before: 40 ms each time on a plain socket.

    The Python backend offers no attribute for that, so its socket is asked itself; other backends have none.
    """
    session = getattr(resource.visalib, "sessions", {}).get(resource.session)
    plain = getattr(session, "interface", None)
    if isinstance(plain, socket.socket):
        plain.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def _set_line(resource: SerialInstrument, line: SerialSettings) -> None:
    from pyvisa.constants import Parity, StopBits

    resource.baud_rate = line.baud
    resource.data_bits = line.bits
    resource.parity = {"N": Parity.none, "E": Parity.even, "O": Parity.odd}[line.parity]
    resource.stop_bits = {1: StopBits.one, 2: StopBits.two}[line.stop]


def _read_available(resource: MessageBasedResource) -> bytes:
    """What has arrived, byte by byte: a longer read that ends by its time-out would lose what it got."""
    data = b""
    while byte := _read_within(resource, 1, 0):
        data += byte
    return data


def _read_within(resource: MessageBasedResource, count: int, timeout_ms: int) -> bytes:
    """Bytes up to the terminator or `count`; empty when none came in time."""
    from pyvisa import VisaIOError
    from pyvisa.constants import StatusCode

    resource.timeout = timeout_ms
    try:
        with resource.ignore_warning(StatusCode.success_max_count_read):
            return bytes(resource.visalib.read(resource.session, count)[0])
    except VisaIOError as error:
        if error.error_code == StatusCode.error_timeout:
            return b""
        raise
