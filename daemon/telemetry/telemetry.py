"""Telemetry of one bench: a journal listener in front, a thread with its own event loop behind it.

The thread is there because a simulated night runs on a loop that jumps through time and has no sockets,
and because a broker that hangs must never delay a run.
"""

from __future__ import annotations

import asyncio
import logging
import sqlite3
import threading
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from itertools import islice, takewhile
from pathlib import Path

from daemon.journal.entry import Entry, Kind
from daemon.telemetry.command import Hear
from daemon.telemetry.inbox import Inbox
from daemon.telemetry.messages import messages_of
from daemon.telemetry.outbox import Outbox
from daemon.telemetry.publisher import Publisher
from daemon.telemetry.run_facts import RunFacts, facts_after, facts_of
from daemon.telemetry.settings import MqttSettings
from daemon.telemetry.topics import Message
from drivers.clock import Clock

_LOG = logging.getLogger("ohmvigil.telemetry")
_MOST_UNWRITTEN = 50_000
_AT_ONCE = 500


def _log(problem: str) -> None:
    if problem:
        _LOG.warning("%s", problem)
    else:
        _LOG.info("telemetry is sending again")


class Telemetry:
    """Give `listener` to a night and call `close` after it. Whatever goes wrong here, the run goes on.

    `problem` is a sentence while something is wrong, else empty. For a resumed run, `opening` is the
    record's opening entry, which tells the names of its channels.
    """

    def __init__(
        self,
        settings: MqttSettings,
        outbox: Path,
        opening: Entry | None = None,
        tell: Callable[[str], None] = _log,
        hear: Hear | None = None,
    ) -> None:
        """Open the outbox file and begin to connect; raises OutboxError.

        `tell` is called from the telemetry thread with each new problem, and with "" when it is over; `hear`,
        from there too, with a hold or halt that came by MQTT: without it nobody listens to any.
        """
        self._tell_on, self._hear = tell, hear
        self.problem = ""
        self._settings = settings
        self._outbox = Outbox(outbox)
        self._facts = facts_of(opening) if opening else RunFacts()
        self._inbox = Inbox(self._wake)
        self._unwritten: deque[Entry] = deque(maxlen=_MOST_UNWRITTEN)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._knock = asyncio.Event()
        self._leave_within_s: float | None = None
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._work, name="telemetry", daemon=True)
        self._thread.start()
        self._ready.wait()

    def listener(self, entry: Entry) -> None:
        """Take one journal entry; returns at once and raises nothing."""
        self._inbox.put(entry)

    @property
    def waiting(self) -> int:
        """How many messages wait for the broker."""
        return self._outbox.depth

    @property
    def lost(self) -> int:
        """How many messages were given up because nothing could be sent for very long."""
        return self._inbox.lost + self._outbox.lost

    def close(self, timeout_s: float) -> bool:
        """Send the rest for at most `timeout_s`, say offline, stop; True when nothing is left to send.

        What is left stays in the outbox file and is sent after the next start.
        """
        self._leave_within_s = 0.8 * timeout_s
        self._wake()
        self._thread.join(timeout_s)
        return not self._thread.is_alive() and self.waiting == 0

    def _wake(self) -> None:
        if self._loop is not None:
            # The thread may be ending at this very moment; then there is nobody left to wake.
            with suppress(RuntimeError):
                self._loop.call_soon_threadsafe(self._knock.set)

    def _work(self) -> None:
        # The selector loop also where another is the default: the MQTT client needs add_reader.
        try:
            with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
                runner.run(self._main())
        except Exception as error:  # noqa: BLE001  telemetry that broke must not touch the run
            self._tell(_broken(error))
        finally:
            self._ready.set()
            self._outbox.close()

    async def _main(self) -> None:
        self._loop = asyncio.get_running_loop()
        publisher = Publisher(self._settings, self._outbox, Clock(), self._tell, self._hear)
        self._ready.set()
        sending = asyncio.create_task(publisher.run())
        sending.add_done_callback(self._sending_ended)
        while self._leave_within_s is None:
            await self._knock.wait()
            self._knock.clear()
            self._take_in()
            publisher.notice()
        # What came in between the last look into the inbox and the word to leave.
        self._take_in()
        publisher.leave(self._leave_within_s)
        await asyncio.gather(sending, return_exceptions=True)

    def _take_in(self) -> None:
        """From the inbox into the outbox; what cannot be written is tried again with the next entry."""
        self._unwritten.extend(self._inbox.take())
        try:
            while batch := self._next_batch():
                self._outbox.put([message for entry in batch for message in self._messages(entry)])
                for _ in batch:
                    self._unwritten.popleft()
        except sqlite3.Error as error:
            self._tell(f"The telemetry outbox cannot be written ({error}); trying again.")

    def _next_batch(self) -> list[Entry]:
        """What one transaction takes, since a disk may need 30 ms for each; a run begins a new one."""
        first, rest = list(islice(self._unwritten, 1)), islice(self._unwritten, 1, _AT_ONCE)
        return first + list(takewhile(lambda entry: entry.kind != Kind.OPENED, rest))

    def _messages(self, entry: Entry) -> list[Message]:
        try:
            self._facts = facts_after(entry, self._facts)
            if entry.kind == Kind.OPENED:
                self._outbox.begin_run()
            return messages_of(entry, self._facts, self._settings.base)
        except (KeyError, TypeError, ValueError) as error:
            # One entry that cannot be told must not silence all that follow.
            _LOG.error("entry %d (%s) was not sent: %r", entry.seq, entry.kind, error)
            return []

    def _sending_ended(self, sending: asyncio.Task[None]) -> None:
        if not sending.cancelled() and (error := sending.exception()) is not None:
            self._tell(_broken(error))

    def _tell(self, problem: str) -> None:
        if problem != self.problem:
            self.problem = problem
            self._tell_on(problem)


def _broken(error: BaseException) -> str:
    return f"Telemetry broke down ({type(error).__name__}: {error}); the run goes on without it."
