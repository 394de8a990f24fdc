"""Carries out calls without ever holding up the daemon: each is made in a thread and its outcome told."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TextIO

from daemon.notices.escalation import Call, Escalation, Step, Waits
from daemon.notices.sending import Apprise, Sender
from plans.lab import Notices

Tell = Callable[[str], None]
_TITLE = "ohmvigil calls"


class Caller:
    """One lab's calls: an escalation a bench, and a plain message to the first person."""

    def __init__(
        self, waits: Waits, persons: Mapping[Step, Sender], tell: Tell, bell: TextIO | None = None
    ) -> None:
        self._waits, self._persons, self._tell, self._bell = waits, persons, tell, bell
        self._escalations: dict[str, Escalation] = {}
        self._sending: set[asyncio.Task[None]] = set()

    def look(self, bench: str, cause: str, now_s: float) -> None:
        """Bring one bench up to date: `cause` is why it calls now, empty when it does not."""
        escalation = self._escalations.setdefault(bench, Escalation(self._waits))
        before = escalation.cause
        for call in escalation.look(cause, now_s):
            self._make(call)
        if before and not cause:
            self._tell(f"no call any more: {before}")

    def message(self, title: str, text: str) -> None:
        """Tell the first person something that needs no answer."""
        self._start(Step.FIRST, title, text)

    async def finish(self) -> None:
        """Wait for what is being sent."""
        await asyncio.gather(*self._sending)

    def _make(self, call: Call) -> None:
        if call.step is Step.BELL:
            self._ring(call)
        else:
            again = f" (call {call.round})" if call.round > 1 else ""
            text = f"{call.cause}\n\nAcknowledge with `ohmvigil acknowledge`, at the bench or by ssh."
            self._start(call.step, f"{_TITLE}{again}", text)

    def _ring(self, call: Call) -> None:
        # A full-screen view may be on that terminal: there the bell alone, its reason is on the screen.
        if self._bell is not None and self._bell.isatty():
            print("\a", end="", file=self._bell, flush=True)
        elif self._bell is not None:
            print(f"{_TITLE}: {call.cause}", file=self._bell, flush=True)

    def _start(self, step: Step, title: str, text: str) -> None:
        sender = self._persons.get(step)
        if sender is not None:
            task = asyncio.create_task(self._send(step, sender, title, text))
            self._sending.add(task)
            task.add_done_callback(self._sending.discard)

    async def _send(self, step: Step, sender: Sender, title: str, text: str) -> None:
        try:
            sent = await asyncio.to_thread(sender.send, title, text)
        except Exception as error:  # noqa: BLE001  a way of sending that breaks must not stop the others
            self._tell(f"the {step} could not be called ({error!r})")
            return
        self._tell(f"the {step} was called: {title}" if sent else f"the {step} could not be reached")


def caller_of(notices: Notices, folder: Path, tell: Tell) -> Caller:
    """The caller that a lab file describes; raises NoticeError."""
    files = {Step.FIRST: notices.first_person, Step.SECOND: notices.second_person}
    persons = {step: Apprise(folder / name) for step, name in files.items() if name is not None}
    waits = Waits(
        60.0 * notices.first_after_minutes,
        60.0 * notices.second_after_minutes,
        60.0 * notices.repeat_minutes,
    )
    return Caller(waits, persons, tell, sys.stdout if notices.bell else None)
