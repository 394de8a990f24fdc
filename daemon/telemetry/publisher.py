"""One task that empties the outbox into the broker, over one new connection after another."""

from __future__ import annotations

import asyncio
import logging
import sqlite3
from collections.abc import Callable
from contextlib import suppress

import aiomqtt
from aiomqtt.exceptions import MqttConnectError

from daemon.telemetry.command import TOPIC, Hear, NoCommand, command_of
from daemon.telemetry.messages import status
from daemon.telemetry.outbox import Outbox, Waiting
from daemon.telemetry.settings import AT_ONCE, MqttSettings
from daemon.telemetry.topics import Message
from drivers.clock import Clock

BATCH = 50
_LOG = logging.getLogger("ohmvigil.telemetry")

_REFUSED = {4, 5, 134, 135}
"""Answers to a connection that mean "not with this name and password": 4 and 5 in MQTT 3.1.1, the
others in MQTT 5 (sections 3.2.2.3 and 3.2.2.2 of the two OASIS standards)."""


class _NotPassedOn(aiomqtt.MqttError):
    """What was published did not come back."""


class _Refused(Exception):
    """The broker will not have this name and password."""


class Publisher:
    """Sends what is in the outbox until told to leave. `tell` is given each problem, "" when it is over."""

    def __init__(
        self,
        settings: MqttSettings,
        outbox: Outbox,
        clock: Clock,
        tell: Callable[[str], None],
        hear: Hear | None = None,
    ) -> None:
        self._settings = settings
        self._outbox = outbox
        self._clock = clock
        self._tell, self._hear = tell, hear
        self._news = asyncio.Event()
        self._leaving = asyncio.Event()
        self._leave_by_s = 0.0

    def notice(self) -> None:
        """There is something new in the outbox."""
        self._news.set()

    def leave(self, within_s: float) -> None:
        """Send what can be sent in that time, say offline, and end."""
        self._leave_by_s = self._clock.monotonic_s() + within_s
        self._leaving.set()
        self._news.set()

    async def run(self) -> None:
        """Connect, send, connect again; returns after `leave`, or when the broker refuses the password."""
        wait_s = self._settings.first_wait_s
        while True:
            started_s = self._clock.monotonic_s()
            try:
                await self._one_connection()
            except _Refused as refusal:
                self._tell(str(refusal))
                return
            except aiomqtt.MqttError as fault:
                self._tell(_in_words(self._settings, fault))
            except sqlite3.Error as fault:
                self._tell(f"The telemetry outbox cannot be used ({fault}); trying again.")
            if self._leaving.is_set():
                return
            if self._clock.monotonic_s() - started_s > self._settings.longest_wait_s:
                wait_s = self._settings.first_wait_s
            with suppress(TimeoutError):
                await asyncio.wait_for(self._leaving.wait(), wait_s)
            wait_s = min(2.0 * wait_s, self._settings.longest_wait_s)

    async def _one_connection(self) -> None:
        """From connecting to saying goodbye; raises MqttError, _Refused."""
        seq, utc_s = 2 * self._outbox.next_connection(), self._clock.utc_s()
        base = self._settings.base
        online = status(base, seq - 1, utc_s, online=True, reason="connected")
        will = status(base, seq, utc_s, online=False, reason="connection lost")
        try:
            # Always a new client: one that is entered again sends what its caller was told had failed.
            async with self._client(will) as client:
                client.pending_calls_threshold = 10**6
                try:
                    await self._work(client, online)
                finally:
                    # A clean exit would leave "online" behind: the will is for a lost connection only.
                    goodbye = status(base, seq, self._clock.utc_s(), online=False, reason="left")
                    with suppress(aiomqtt.MqttError):
                        await _publish(client, goodbye)
        except MqttConnectError as fault:
            raise (_refusal(self._settings, fault) or fault) from None

    async def _work(self, client: aiomqtt.Client, online: Message) -> None:
        await self._echo(client, online)
        self._tell("")
        self._outbox.retained_again()
        if self._hear is not None:
            await client.subscribe(f"{self._settings.base}/{TOPIC}", qos=1)
        listening = asyncio.create_task(self._until_lost(client))
        listening.add_done_callback(lambda _: self._news.set())
        try:
            await self._drain(client, listening)
        finally:
            listening.cancel()
            await asyncio.gather(listening, return_exceptions=True)

    async def _echo(self, client: aiomqtt.Client, online: Message) -> None:
        """Say online and wait to hear it: a broker confirms even what its access list throws away."""
        await client.subscribe(online.topic, qos=1)
        await _publish(client, online)
        try:
            async with asyncio.timeout(self._settings.answer_s):
                async for heard in client.messages:
                    if heard.payload == online.payload.encode():
                        return
        except (TimeoutError, aiomqtt.MqttError):
            # Brokers differ: some say nothing, some confirm a forbidden message and then hang up.
            raise _NotPassedOn from None

    async def _drain(self, client: aiomqtt.Client, listening: asyncio.Task[None]) -> None:
        """Send until told to leave; raises MqttError when the connection is lost, sqlite3.Error."""
        while not self._out_of_time():
            self._news.clear()
            if listening.done():
                listening.result()
            batch = self._outbox.first(BATCH)
            if batch:
                await _send(client, batch)
                self._outbox.sent(batch)
            elif self._leaving.is_set():
                return
            else:
                await self._news.wait()

    async def _until_lost(self, client: aiomqtt.Client) -> None:
        """Raises MqttError when the connection is lost; only a hold or a halt that is heard has an effect."""
        async for heard in client.messages:
            if self._hear is None or str(heard.topic) != f"{self._settings.base}/{TOPIC}":
                continue
            payload = heard.payload if isinstance(heard.payload, bytes) else b""
            try:
                command = command_of(payload, self._clock.utc_s(), retained=heard.retain)
            except NoCommand as reason:
                _LOG.warning("a command by MQTT was passed over: %s", reason)
            else:
                self._hear(command.word, command.who, command.reason)

    def _out_of_time(self) -> bool:
        return self._leaving.is_set() and self._clock.monotonic_s() > self._leave_by_s

    def _client(self, will: Message) -> aiomqtt.Client:
        settings = self._settings
        return aiomqtt.Client(
            settings.host,
            settings.port,
            username=settings.user,
            password=settings.password,
            will=aiomqtt.Will(will.topic, will.payload, qos=1, retain=True),
            timeout=settings.answer_s,
            keepalive=settings.keepalive_s,
            tls_context=settings.tls,
            socket_options=AT_ONCE,
        )


async def _publish(client: aiomqtt.Client, message: Message) -> None:
    await client.publish(message.topic, message.payload, qos=message.qos, retain=message.retain)


async def _send(client: aiomqtt.Client, batch: list[Waiting]) -> None:
    """Returns when the broker has confirmed all of them; raises MqttError."""
    outcomes = await asyncio.gather(*(_publish(client, one.message) for one in batch), return_exceptions=True)
    for outcome in outcomes:
        if outcome is not None:
            raise outcome


def _refusal(settings: MqttSettings, fault: MqttConnectError) -> _Refused | None:
    code = fault.rc if isinstance(fault.rc, int) or fault.rc is None else fault.rc.value
    if code not in _REFUSED:
        return None
    who = f"the user {settings.user!r}" if settings.user else "a connection without a user"
    return _Refused(
        f"The broker {settings.broker} refuses {who}: wrong name or password, or not allowed. Telemetry is "
        "off until the daemon is started again; the run goes on, and what was to be sent is kept."
    )


def _in_words(settings: MqttSettings, fault: aiomqtt.MqttError) -> str:
    broker = settings.broker
    if isinstance(fault, _NotPassedOn):
        return (
            f"The broker {broker} does not pass on what is sent to {settings.base}/status. Most likely its "
            f"access list forbids it: this daemon must write and read {settings.base}/#. Until then nothing "
            "is sent, and all is kept here."
        )
    hint = ""
    if "timed out" in str(fault) and settings.tls is None:
        hint = " If this is its encrypted port, write mqtts:// in the address."
    return f"No connection to the broker {broker} ({fault}); trying again.{hint}"
