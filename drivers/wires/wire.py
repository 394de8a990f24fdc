"""What carries bytes to an instrument, and who hears of the bytes that come back."""

from __future__ import annotations

from typing import Protocol


class Listener(Protocol):
    """Hears what happens on a wire; called on the event loop's thread only."""

    def bytes_came(self, data: bytes) -> None:
        """Bytes arrived, as they arrive: a fragment or several replies."""

    def wire_lost(self, reason: str) -> None:
        """The wire is gone: closed by the peer, unplugged, broken."""


class Wire(Protocol):
    """One physical connection. `open` may be called again after `close` or a loss."""

    @property
    def fresh_on_reopen(self) -> bool:
        """True when a reopened wire cannot bring bytes of the one before (TCP)."""

    async def open(self, listener: Listener) -> None:
        """Connect; raises LinkLost with the reason."""

    def write(self, data: bytes, reply_within_s: float) -> None:
        """Send; never waits. `reply_within_s` is 0 when no reply is expected. Raises LinkLost."""

    def waiting(self) -> bool:
        """True when bytes have arrived that the listener has not been given yet."""

    def close(self) -> None:
        """Let go at once; never waits, never raises; may be called twice."""
