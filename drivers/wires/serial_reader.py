"""Listens to a serial port in one daemon thread."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from drivers.wires.wire import Listener

if TYPE_CHECKING:
    import serial


class SerialReader:
    """Reads until stopped; every byte is handed over on the event loop's thread."""

    def __init__(self, port: serial.Serial, loop: asyncio.AbstractEventLoop, listener: Listener) -> None:
        self._port = port
        self._loop = loop
        self._listener: Listener | None = listener
        self._thread = threading.Thread(target=self._run, name=f"serial {port.port}", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Hear nothing more; the reading thread is woken and ends within milliseconds."""
        self._listener = None
        self._port.cancel_read()
        self._thread.join(timeout=0.2)

    def _run(self) -> None:
        try:
            while self._listener is not None:
                data = self._port.read(max(1, self._port.in_waiting))
                if data:
                    self._hand_over(partial(_give, data))
        except (OSError, TypeError, ValueError) as error:
            # pyserial raises TypeError when the port is closed under a read.
            reason = f"the serial port broke: {error}"
            self._hand_over(lambda listener: listener.wire_lost(reason))

    def _hand_over(self, tell: Callable[[Listener], None]) -> None:
        def on_loop() -> None:
            if self._listener is not None:
                tell(self._listener)

        if self._listener is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(on_loop)


def _give(data: bytes, listener: Listener) -> None:
    listener.bytes_came(data)
