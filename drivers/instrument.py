"""An instrument behind a link, driven by its profile: ask, write, confirm, identify, make safe."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import TypeVar

from drivers.clock import Clock
from drivers.errors import (
    BadProfile,
    InstrumentError,
    LinkLost,
    NotConfirmed,
    OutsideLimits,
    Refused,
    ReplyError,
    Restarted,
    WrongIdentity,
)
from drivers.link import Ask, Link
from drivers.link_events import Event
from drivers.profile_fields import Sample, Values
from drivers.profile_model import Command, Profile, Question, Verify
from drivers.quantities import UNITS, Reading, absent

T = TypeVar("T")

HANGING_S = 0.1
"""A question unanswered for so long no longer holds up a switching off; common practice, no source."""

UPTIME = "uptime"
"""Question and field by which an instrument tells for how long it has been on; a profile may have it."""

UPTIME_SLACK_S, UPTIME_SLACK_SHARE = 5.0, 0.05
"""An instrument's own clock may be so wrong; common practice, no source."""


class Instrument:
    """What a heat source and a bridge have in common.

    The identity is asked whenever the link was opened or cleaned; once seen it must stay the same to
    the last digit, so that an instrument exchanged overnight is noticed.
    """

    def __init__(self, profile: Profile, link: Link, transport: str, clock: Clock) -> None:
        self.profile = profile
        self.link = link
        self._clock = clock
        self._framing = profile.framing(transport)
        self._identity: dict[str, str] = {}
        self._was_on: tuple[float, float] | None = None
        link.prove = self._prove

    async def identify(self) -> str:
        """Ask who it is, on the wire; raises WrongIdentity, InstrumentError.

        Asked again, one that can tell also says for how long it has been on; raises Restarted.
        """
        identity, known = self.profile.identity, bool(self._identity)
        await self._talk(identity.body, identity.within_s, self._recognise)
        if known and UPTIME in self.profile.questions:
            await self._see_that_it_stayed_on(self.profile.questions[UPTIME])
        return self.identity_text

    async def _see_that_it_stayed_on(self, question: Question) -> None:
        """Compare the time since its start with what it was; a restart is told once."""
        reading = self.reading(await self.ask(question), question, UPTIME)
        before, now_s, on_s = self._was_on, reading.when_s, reading.value
        if on_s is None:
            return
        self._was_on = (now_s, on_s)
        if before is None:
            return
        passed_s = now_s - before[0]
        missing_s = before[1] + passed_s - on_s
        if not missing_s <= max(UPTIME_SLACK_S, UPTIME_SLACK_SHARE * passed_s):
            raise Restarted(
                f"{self.link.name}: it started anew {on_s:.0f} s ago; it may have lost its settings, "
                "and somebody or something switched it off"
            )

    @property
    def identity_text(self) -> str:
        """Who answered last, as in "model BRIDGE-8, serial 0042"; empty before the first answer."""
        return ", ".join(f"{name} {text}" for name, text in self._identity.items())

    async def close(self) -> None:
        """Let go of the wire."""
        self.link.close()

    async def ask(self, question: Question, *, urgent: bool = False) -> Values:
        """The fields of one question; raises InstrumentError."""
        return await self._talk(
            question.body, question.within_s, question.decode, earliest_s=question.earliest_s, urgent=urgent
        )

    async def write(self, command: Command, value: float, *, urgent: bool = False) -> None:
        """Send a checked number, see that it was accepted, read it back.

        Raises OutsideLimits (nothing sent), Refused, NotConfirmed, InstrumentError.
        """
        body = self._encode(command, value)
        if command.confirm is None:
            await self.link.send(self._framing.wrap(body), urgent=urgent)
        else:
            await self._talk(body, command.within_s, partial(command.confirm, body), urgent=urgent)
        await self._report_errors(command.name, urgent)
        if command.verify is not None:
            await self._read_back(command, command.verify, value, urgent)

    async def write_at_once(self, command: Command, value: float) -> None:
        """As `write`, but ahead of every other question.

        Behind a question that hangs, or on a link that is not clean, it first goes out unconfirmed.
        """
        if not self.link.ready and not await self.link.answered(HANGING_S):
            await self._send_unconfirmed(command.encode(value))
        await self.write(command, value, urgent=True)

    async def make_safe(self) -> None:
        """Every safe step, each tried even if the one before failed.

        Where a question hangs or the link is unclean, the steps go out at once and unconfirmed; in
        any case they are then repeated in order and confirmed. Raises NotConfirmed with every
        failure.
        """
        if not self.link.ready:
            await self._send_unconfirmed(*(step.command.encode(step.value) for step in self.profile.safe))
        failures = []
        for step in self.profile.safe:
            try:
                await self.write(step.command, step.value, urgent=True)
            except InstrumentError as error:
                failures.append(f"{step.command.name}: {error}")
        if failures:
            raise NotConfirmed(f"{self.link.name}: safe state not confirmed: {'; '.join(failures)}")

    def command(self, name: str) -> Command:
        """A command of the profile; raises BadProfile when the instrument does not offer it."""
        if name not in self.profile.commands:
            raise BadProfile(f"{self.profile.id} does not offer {name}")
        return self.profile.commands[name]

    def reading(self, values: Values, question: Question, field: str) -> Reading:
        """A number field as a Reading at this moment."""
        sample = values[field]
        assert isinstance(sample, Sample)
        now_s, unit = self._clock.monotonic_s(), question.units[field]
        if sample.value is None:
            return absent(unit, now_s, sample.reason, sample.raw)
        return Reading(sample.value, unit, now_s, raw=sample.raw)

    # --- inside ---

    async def _send_unconfirmed(self, *bodies: bytes) -> None:
        if self._identity:  # a stranger on the wire is not told anything
            with suppress(LinkLost):  # the confirmed steps report it
                await self.link.reach()
        for body in bodies:
            self.link.halt_now(self._framing.wrap(body))

    def _encode(self, command: Command, value: float) -> bytes:
        if not math.isfinite(value):
            raise OutsideLimits(f"{self.link.name}: {command.name} {value} is not a number")
        if command.limits is not None:
            (low, high), unit = command.limits, UNITS[command.unit]
            if not low <= value <= high:
                raise OutsideLimits(
                    f"{self.link.name}: {command.name} {value:g} {unit} is outside "
                    f"{low:g} to {high:g} {unit}; nothing was sent"
                )
        return command.encode(value)

    async def _talk(
        self,
        body: bytes,
        within_s: float,
        decode: Callable[[bytes], T],
        *,
        earliest_s: float = 0.0,
        urgent: bool = False,
    ) -> T:
        """One exchange; a reply that cannot be used leaves the link dirty, a plain refusal does not."""
        framing, frame = self._framing, self._framing.wrap(body)
        reply = await self.link.exchange(
            frame, framing.complete, within_s, earliest_s=earliest_s, urgent=urgent
        )
        try:
            return decode(framing.unwrap(reply, frame))
        except Refused as error:
            raise Refused(f"{self.link.name}: {error}") from error
        except (ReplyError, WrongIdentity) as error:
            self.link.distrust(str(error))
            raise

    async def _report_errors(self, after: str, urgent: bool) -> None:
        """Empty the instrument's error queue; raises Refused when there was anything in it."""
        queue = self.profile.errors
        if queue is None:
            return
        found: list[str] = []
        for _ in range(queue.drain_max):
            error = await self._talk(queue.body, queue.within_s, queue.decode, urgent=urgent)
            if error is None:
                break
            found.append(error)
        if found:
            raise Refused(f"{self.link.name}: after {after} the instrument reports {'; '.join(found)}")

    async def _read_back(self, command: Command, verify: Verify, value: float, urgent: bool) -> None:
        values = await self.ask(self.profile.questions[verify.question], urgent=urgent)
        found = values[verify.field]
        if isinstance(found, Sample):
            if found.value is None or not abs(found.value - value) <= verify.within * (1.0 + 1e-9):
                raise NotConfirmed(
                    f"{self.link.name}: {command.name} {value:g} {UNITS[command.unit]} was written, "
                    f"{found.raw} was read back"
                )
        elif found is not bool(value):
            words = "on" if value else "off", "on" if found else "off"
            raise NotConfirmed(
                f"{self.link.name}: {command.name} was switched {words[0]}, it reads {words[1]}"
            )

    async def _prove(self, ask: Ask) -> None:
        """Asked by the link whenever it was opened or cleaned; afterwards nothing is taken as known."""
        self.forget()
        identity, queue = self.profile.identity, self.profile.errors
        await self._say(ask, identity.body, identity.within_s, self._recognise)
        if queue is None:
            return
        for _ in range(queue.drain_max):
            error = await self._say(ask, queue.body, queue.within_s, queue.decode)
            if error is None:
                return
            self.link.note(Event.NOTE, b"", f"error found on opening: {error}")

    async def _say(self, ask: Ask, body: bytes, within_s: float, decode: Callable[[bytes], T]) -> T:
        frame = self._framing.wrap(body)
        return decode(self._framing.unwrap(await ask(frame, self._framing.complete, within_s), frame))

    def forget(self) -> None:
        """Nothing is known any more about the instrument's settings; a driver may extend this."""

    def _recognise(self, body: bytes) -> None:
        parts = self.profile.identity.decode(body)
        wanted = {**self.profile.identity.expect, **self._identity}
        for name, text in wanted.items():
            if parts.get(name) != text:
                raise WrongIdentity(
                    f"{self.link.name}: {name} {text} was expected, {name} {parts.get(name)} answered; "
                    "check the cable and the address"
                )
        self._identity = parts
