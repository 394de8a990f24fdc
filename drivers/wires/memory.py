"""The in-memory wire: the same bytes as on a cable, carried by the event loop's timers."""

from __future__ import annotations

import asyncio
from typing import Protocol

from drivers.errors import LinkLost
from drivers.wires.wire import Listener


class FarEnd(Protocol):
    """An instrument's end of a wire."""

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        """Take bytes at monotonic time `now_s`; give replies as (delay in seconds, bytes).

        A ConnectionError means the instrument is not on the wire.
        """


class MemoryWire:
    """Carries bytes to a far end in this process; replies come after their delay."""

    def __init__(self, far_end: FarEnd, *, fresh_on_reopen: bool = True) -> None:
        self.fresh_on_reopen = fresh_on_reopen
        self._far_end = far_end
        self._listener: Listener | None = None
        self._generation = 0

    async def open(self, listener: Listener) -> None:
        self._loop = asyncio.get_running_loop()
        self._listener = listener

    def write(self, data: bytes, reply_within_s: float) -> None:
        if self._listener is None:
            raise LinkLost("the in-memory wire is closed")
        try:
            replies = self._far_end.accept(data, self._loop.time())
        except ConnectionError as error:
            self.close()
            raise LinkLost(f"the instrument is not on the wire: {error}") from error
        for delay_s, reply in replies:
            self._loop.call_later(delay_s, self._deliver, reply, self._generation)

    def waiting(self) -> bool:
        return False

    def close(self) -> None:
        """Replies still on their way die with the connection where the wire is fresh on reopen."""
        self._listener = None
        if self.fresh_on_reopen:
            self._generation += 1

    def _deliver(self, reply: bytes, generation: int) -> None:
        if self._listener is not None and generation == self._generation:
            self._listener.bytes_came(reply)
