"""One Line per physical wire: it pairs each question with its own answer, or says that it could not.

Stock stacks lose this pairing after the first late reply, and then deliver wrong numbers that look
right. Here a line is *dirty* from the moment of a write until the reply is complete, and stays so
after a time-out, a cancelled question, a stray byte or a reply that failed its check. A dirty line is
reopened (TCP) or drained (serial) before it is used again.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from drivers.clock import Clock
from drivers.errors import LinkLost, NoAnswer, ReplyError, StrayBytes
from drivers.link_events import Event, LinkState, Transcript
from drivers.turn import Turn
from drivers.wires.wire import Wire

Complete = Callable[[bytearray], int]
"""Given the bytes so far: the length of the complete reply, 0 for not yet; raises GarbledReply."""


class Line:
    """The one owner of a wire; each instrument that hangs on it has its own `Link`.

    `quiet_s` is longer than the slowest reply of any instrument; `always_drain` waits that long even
    after a reopen (an instrument behind a converter may still be talking); `gap_s` of silence parts
    two frames; `half_duplex` forbids talking while an answer is due. Who uses it must have the `turn`.
    """

    def __init__(
        self,
        wire: Wire,
        clock: Clock,
        name: str,
        *,
        quiet_s: float = 1.0,
        open_within_s: float = 3.0,
        gap_s: float = 0.0,
        always_drain: bool = False,
        half_duplex: bool = False,
        transcript: Transcript | None = None,
    ) -> None:
        self.name = name
        self.clock = clock
        self.state = LinkState.CLOSED
        self.turn = Turn()
        self.renewals = 0
        self._wire = wire
        self._quiet_s = quiet_s
        self._open_within_s = open_within_s
        self._gap_s = gap_s
        self._always_drain = always_drain or not wire.fresh_on_reopen
        self._half_duplex = half_duplex
        self._transcript = transcript
        self._users: set[object] = set()
        self._opened = False
        self._buffer = bytearray()
        self._reply: asyncio.Future[bytes] | None = None
        self._complete: Complete = len
        self._not_before_s = 0.0
        self._unasked = False
        self._last_byte_s = float("-inf")

    def suit(self, *, quiet_s: float, gap_s: float, always_drain: bool, half_duplex: bool) -> None:
        """Be as careful as one more instrument on the wire needs it."""
        self._quiet_s = max(self._quiet_s, quiet_s)
        self._gap_s = max(self._gap_s, gap_s)
        self._always_drain = self._always_drain or always_drain
        self._half_duplex = self._half_duplex or half_duplex

    @property
    def neighbours_wait_s(self) -> float:
        """How long others on a shared wire wait after one of them failed; nothing where there are none.

        A unit that is off is asked again only after they also had the wire for as long as it backs off.
        """
        return self._quiet_s if len(self._users) > 1 and self._always_drain else 0.0

    def use(self, user: object) -> None:
        """One more user: the wire stays open until the last has left."""
        self._users.add(user)

    def leave(self, user: object) -> None:
        """One user less; the last one closes the wire, and a question still hanging fails."""
        self._users.discard(user)
        if self._users:
            return
        if self._opened:
            self.note(Event.CLOSE, b"", "")
        self._drop("closed by its owner")
        self._wire.close()

    async def answered(self, within_s: float) -> None:
        """Wait a little for the question that is under way."""
        if self._reply is not None:
            await asyncio.wait([self._reply], timeout=within_s)

    async def reach(self) -> None:
        """Open a closed wire at once, neither drained nor proved, so that a halt can go out.

        Does nothing when somebody else is at it; raises LinkLost.
        """
        if self._opened or self.turn.taken:
            return
        await self.turn.take()
        try:
            self._wire.close()
            await self._open_wire()
        finally:
            self.turn.give()

    def halt_now(self, data: bytes) -> bool:
        """Send at once, ahead of every queue and of a question still hanging, which fails.

        True when the bytes went out. False when the line is closed, or half-duplex with an answer
        due: then an urgent exchange is the quickest way. The line is dirty afterwards.
        """
        if not self._opened or (self._half_duplex and self._reply is not None):
            return False
        if self._reply is not None and not self._reply.done():
            self._reply.set_exception(NoAnswer(f"{self.name}: a halt went ahead of this question"))
        try:
            self._write(data, 0.0, Event.HALT)
        except LinkLost:
            return False
        self.state = LinkState.DIRTY
        return True

    def distrust(self) -> None:
        """Something that came failed its check: the line is dirty."""
        if self.state is LinkState.UP:
            self.state = LinkState.DIRTY

    def trust(self) -> None:
        """It was renewed, and who answers on it was proved where there is a proof."""
        self.state = LinkState.UP

    def forget_unasked(self) -> bool:
        """True when bytes had come that belong to no question; asked once, it is forgotten."""
        unasked, self._unasked = self._unasked, False
        return unasked

    def note(self, event: Event, data: bytes, text: str) -> None:
        """Write one event to the transcript."""
        if self._transcript is not None:
            self._transcript((self.clock.monotonic_s(), self.name, event, data, text))

    async def ask(self, data: bytes, complete: Complete, within_s: float, earliest_s: float = 0.0) -> bytes:
        """Ask once and return the complete reply; as `Link.exchange`, on a line known to be clean."""
        if self._gap_s:
            await self.clock.sleep_until(self._last_byte_s + self._gap_s)
        if self._wire.waiting():
            self.state = LinkState.DIRTY
            self.note(Event.STRAY, b"", "bytes were waiting before the question")
            raise StrayBytes(f"{self.name}: bytes were waiting before the question was sent")
        loop = asyncio.get_running_loop()
        self._buffer.clear()
        self._complete = complete
        self._unasked = False
        self.state = LinkState.DIRTY
        self._write(data, within_s, Event.SENT)
        reply = self._reply = loop.create_future()
        self._not_before_s = self._last_byte_s + earliest_s
        timer = loop.call_later(within_s, self._deadline_passed, reply, within_s)
        try:
            answer: bytes = await reply
        except asyncio.CancelledError:
            self.note(Event.CANCELLED, bytes(self._buffer), "")
            raise
        finally:
            timer.cancel()
            self._reply = None
            unasked = self.forget_unasked()
        if unasked:
            raise StrayBytes(f"{self.name}: bytes came that belong to no question")
        self.state = LinkState.UP
        return answer

    def send(self, data: bytes) -> None:
        """Send something that has no reply."""
        self._write(data, 0.0, Event.SENT)

    async def renew(self) -> None:
        """Reopen or drain; whoever is on the line must then prove again who it is."""
        self.renewals += 1
        was_used = self._opened or self._last_byte_s > float("-inf")
        if not self._opened or self._wire.fresh_on_reopen:
            self._wire.close()
            self._opened = False
            await self._open_wire()
        if was_used and self._always_drain:
            await self._drain()

    # --- what the wire tells ---

    def bytes_came(self, data: bytes) -> None:
        """The wire's call: bytes arrived."""
        now_s = self._last_byte_s = self.clock.monotonic_s()
        reply = self._reply
        if reply is None or reply.done() or now_s < self._not_before_s:
            self._stray(data, now_s)
            return
        if self._transcript is not None:
            self._transcript((now_s, self.name, Event.CAME, data, ""))
        self._buffer += data
        self.look_again()

    def look_again(self) -> None:
        """Is the reply complete? Also for whoever finds out its end later than its last byte came."""
        reply, buffer = self._reply, self._buffer
        if reply is None or reply.done() or not buffer:
            return
        try:
            length = self._complete(buffer)
        except ReplyError as error:
            reply.set_exception(error)
            return
        if length == len(buffer):
            if length:
                reply.set_result(bytes(buffer))
        elif length:
            reply.set_exception(StrayBytes(f"{self.name}: bytes after the end of the reply"))

    def wire_lost(self, reason: str) -> None:
        """The wire's call: it is gone."""
        self.note(Event.LOST, b"", reason)
        self._drop(reason)

    # --- inside ---

    def _write(self, data: bytes, within_s: float, event: Event) -> None:
        now_s = self._last_byte_s = self.clock.monotonic_s()
        if self._transcript is not None:
            self._transcript((now_s, self.name, event, data, ""))
        try:
            self._wire.write(data, within_s)
        except LinkLost as error:
            self.wire_lost(str(error))
            raise LinkLost(f"{self.name}: {error}") from error

    def _deadline_passed(self, reply: asyncio.Future[bytes], within_s: float) -> None:
        if reply.done():
            return
        self.note(Event.TIMEOUT, bytes(self._buffer), "")
        got = f"only {len(self._buffer)} bytes" if self._buffer else "no answer"
        reply.set_exception(NoAnswer(f"{self.name}: {got} within {within_s:g} s"))

    def _stray(self, data: bytes, now_s: float) -> None:
        if self._transcript is not None:
            self._transcript((now_s, self.name, Event.STRAY, data, ""))
        if self._reply is not None and not self._reply.done():
            self._reply.set_exception(
                StrayBytes(f"{self.name}: an answer came too early to be of this question")
            )
        elif self._reply is not None or self.state is LinkState.UP:
            self._unasked = True
            self.state = LinkState.DIRTY

    def _drop(self, reason: str) -> None:
        self._opened = False
        self.state = LinkState.CLOSED
        if self._reply is not None and not self._reply.done():
            self._reply.set_exception(LinkLost(f"{self.name}: {reason}"))

    async def _open_wire(self) -> None:
        try:
            async with asyncio.timeout(self._open_within_s):
                await self._wire.open(self)
        except TimeoutError as error:
            self._wire.close()
            self.note(Event.LOST, b"", "no connection in time")
            raise LinkLost(f"{self.name}: no connection within {self._open_within_s:g} s") from error
        except LinkLost as error:
            self.note(Event.LOST, b"", str(error))
            raise LinkLost(f"{self.name}: {error}") from error
        self._opened = True
        self.state = LinkState.DIRTY
        self.note(Event.OPEN, b"", "")

    async def _drain(self) -> None:
        """Wait until nothing was sent or came for longer than the slowest reply."""
        give_up_s = self.clock.monotonic_s() + 5.0 * self._quiet_s
        self.note(Event.DRAIN, b"", "")
        while (quiet_at_s := self._last_byte_s + self._quiet_s) > self.clock.monotonic_s():
            if quiet_at_s > give_up_s:
                raise StrayBytes(f"{self.name}: does not fall silent")
            await self.clock.sleep_until(quiet_at_s)
