"""One instrument's place on a line: what it asks, after it was proved who answers.

Several instruments may hang on one line (RS-485, a Modbus gateway). Whenever the line was opened, drained
or reopened, whoever is asked next proves its own identity first, each for itself: a unit that is off does
not keep its neighbour from answering.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

from drivers.errors import InstrumentError, LinkLost, StrayBytes
from drivers.line import Complete, Line
from drivers.link_events import Event, LinkState

Ask = Callable[[bytes, Complete, float], Awaitable[bytes]]
Prove = Callable[[Ask], Awaitable[None]]

FIRST_BACK_OFF_S = 0.1
LONGEST_BACK_OFF_S = 5.0


class Link:
    """What a driver talks through; `prove` asks who is there, `name` stands in messages."""

    def __init__(self, line: Line, name: str = "") -> None:
        self.line = line
        self.name = name or line.name
        self.prove: Prove | None = None
        self._proved_in = -1
        self._backing_off = False
        self._back_off_s = FIRST_BACK_OFF_S
        self._retry_at_s = 0.0
        self._last_failure = ""

    @property
    def state(self) -> LinkState:
        """The line's state as far as this instrument goes: up only when its identity is proved."""
        if self._backing_off:
            return LinkState.BACKING_OFF
        if self.line.state is LinkState.UP and self._proved_in != self.line.renewals:
            return LinkState.DIRTY
        return self.line.state

    @property
    def up(self) -> bool:
        """True when the link is clean: nothing was opened, drained or doubted since the last reply."""
        return self.state is LinkState.UP

    @property
    def ready(self) -> bool:
        """True when a question would go out at once."""
        return self.up and not self.line.turn.taken

    async def exchange(
        self,
        data: bytes,
        complete: Complete,
        within_s: float,
        *,
        earliest_s: float = 0.0,
        urgent: bool = False,
    ) -> bytes:
        """Ask once and return the complete reply.

        The reply must be complete `within_s` of the write, one deadline for all of it (in seconds of the
        event loop), and must not begin before `earliest_s` of the clock's seconds (a reply quicker than
        the conversion belongs to another question).
        An unclean link is made clean first. Nothing is repeated. Raises LinkLost, NoAnswer,
        StrayBytes, GarbledReply, and whatever the proof of identity raises.
        """
        await self.line.turn.take(urgent)
        try:
            if not self.up:
                await self._make_clean(urgent)
            return await self.line.ask(data, complete, within_s, earliest_s)
        finally:
            self.line.turn.give()

    async def send(self, data: bytes, *, urgent: bool = False) -> None:
        """Send something that has no reply; an unclean link is made clean first."""
        await self.line.turn.take(urgent)
        try:
            if not self.up:
                await self._make_clean(urgent)
            self.line.send(data)
        finally:
            self.line.turn.give()

    async def answered(self, within_s: float) -> bool:
        """Wait a little for the question that is under way; True when the link is clean after that."""
        await self.line.answered(within_s)
        return self.up

    async def reach(self) -> None:
        """Open a closed wire at once, neither drained nor proved, so that a halt can go out; LinkLost."""
        self.line.use(self)
        await self.line.reach()

    def halt_now(self, data: bytes) -> bool:
        """Send at once, ahead of every queue and of a question still hanging, which fails.

        True when the bytes went out. False when the link is closed, or half-duplex with an answer
        due: then an urgent exchange is the quickest way. The link is dirty afterwards.
        """
        self._backing_off = False
        return self.line.halt_now(data)

    def look_again(self) -> None:
        """The end of the reply may be known by now, though no more bytes came."""
        self.line.look_again()

    def distrust(self, reason: str) -> None:
        """The last reply failed its check: the line is dirty."""
        self.note(Event.DISTRUST, b"", reason)
        self.line.distrust()

    def close(self) -> None:
        """Leave the line; the last one lets go of the wire, and a question still hanging fails."""
        self._backing_off, self._proved_in = False, -1
        self.line.leave(self)

    def note(self, event: Event, data: bytes, text: str) -> None:
        """Write one event to the transcript."""
        self.line.note(event, data, text)

    async def _make_clean(self, urgent: bool) -> None:
        """Reopen or drain where needed, then ask who is there; after a failure wait longer each time.

        An urgent caller, a halt, does not sit out the back-off.
        """
        self.line.use(self)
        if self.line.forget_unasked() and not urgent:
            raise StrayBytes(f"{self.name}: bytes came that nobody had asked for")
        left_s = self._retry_at_s - self.line.clock.monotonic_s()
        if self._backing_off and left_s > 0 and not urgent:
            raise LinkLost(f"{self.name}: next try in {left_s:.1f} s; the last failed: {self._last_failure}")
        try:
            if self.line.state is not LinkState.UP:
                await self.line.renew()
            if self.prove is not None:
                await self.prove(self.line.ask)
        except (InstrumentError, asyncio.CancelledError) as error:
            self._back_off(str(error) or "it was given up")
            raise
        self.note(Event.PROVED, b"", "")
        self._back_off_s, self._backing_off = FIRST_BACK_OFF_S, False
        self._proved_in = self.line.renewals
        self.line.trust()

    def _back_off(self, reason: str) -> None:
        self.line.distrust()
        self._last_failure, self._backing_off = reason, True
        clean_at_s = self.line.clock.monotonic_s() + self.line.neighbours_wait_s
        self._retry_at_s = clean_at_s + self._back_off_s
        self._back_off_s = min(2.0 * self._back_off_s, LONGEST_BACK_OFF_S)
