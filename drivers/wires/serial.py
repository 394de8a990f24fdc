"""A serial port: pyserial opens it exclusively; the event loop or one thread listens."""

from __future__ import annotations

import asyncio
import os
import sys

from drivers.errors import LinkLost
from drivers.profile_model import SerialSettings
from drivers.wires.serial_reader import SerialReader
from drivers.wires.wire import Listener


class SerialWire:
    """RS-232, RS-485 or USB-serial. Bytes still on the line survive a reopen: the link drains.

    `threaded` listens in a thread, as systems need whose event loop cannot watch a port.
    """

    fresh_on_reopen = False

    def __init__(
        self, port: str, settings: SerialSettings, *, threaded: bool = sys.platform == "win32"
    ) -> None:
        self._name = port
        self._settings = settings
        self._threaded = threaded
        self._reader: SerialReader | None = None
        self._unsent = b""

    async def open(self, listener: Listener) -> None:
        import serial

        settings = self._settings
        try:
            self._port = serial.Serial(
                self._name,
                settings.baud,
                settings.bits,
                settings.parity,
                settings.stop,
                timeout=None if self._threaded else 0,
                write_timeout=0,
                exclusive=True,
            )
            self._port.reset_input_buffer()
        except (OSError, ValueError) as error:
            raise LinkLost(f"cannot open the serial port {self._name}: {error}") from error
        self._loop = asyncio.get_running_loop()
        self._listener: Listener | None = listener
        if self._threaded:
            self._reader = SerialReader(self._port, self._loop, listener)
        else:
            self._loop.add_reader(self._port.fileno(), self._read)

    def write(self, data: bytes, reply_within_s: float) -> None:
        if not self._is_open():
            raise LinkLost("the serial port is closed")
        self._unsent += data
        self._send()

    def waiting(self) -> bool:
        try:
            return self._is_open() and self._port.in_waiting > 0
        except OSError:
            return False

    def close(self) -> None:
        if not self._is_open():
            return
        self._listener = None
        self._unsent = b""
        if self._reader is not None:
            self._reader.stop()
            self._reader = None
        else:
            self._loop.remove_reader(self._port.fileno())
            self._loop.remove_writer(self._port.fileno())
        self._port.close()

    def _is_open(self) -> bool:
        port = getattr(self, "_port", None)
        return port is not None and bool(port.is_open)

    def _send(self) -> None:
        """Send what the line takes now, the rest when it takes more."""
        try:
            sent = self._port.write(self._unsent) or 0
        except BlockingIOError:
            sent = 0
        except OSError as error:
            self.close()
            raise LinkLost(f"the serial port broke: {error}") from error
        self._unsent = self._unsent[sent:]
        if not self._threaded:
            self._watch_for_room()

    def _watch_for_room(self) -> None:
        if self._unsent:
            self._loop.add_writer(self._port.fileno(), self._send_rest)
        else:
            self._loop.remove_writer(self._port.fileno())

    def _send_rest(self) -> None:
        listener = self._listener
        try:
            self._send()
        except LinkLost as error:
            if listener is not None:
                listener.wire_lost(str(error))

    def _read(self) -> None:
        listener = self._listener
        try:
            data = os.read(self._port.fileno(), 4096)
            reason = "the serial port hung up"
        except BlockingIOError:
            return
        except OSError as error:
            data, reason = b"", f"the serial port broke: {error}"
        if listener is None:
            return
        if data:
            listener.bytes_came(data)
        else:
            self.close()
            listener.wire_lost(reason)
