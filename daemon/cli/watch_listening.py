"""Hears everything below ohmvigil/ at a broker, over one connection after another."""

from __future__ import annotations

import aiomqtt

from daemon.cli.watch_fleet import Fleet
from daemon.telemetry.settings import AT_ONCE, MqttSettings
from drivers.clock import Clock


class Listening:
    """Feeds a fleet until cancelled; only reads, sends nothing."""

    def __init__(self, settings: MqttSettings, fleet: Fleet, clock: Clock, station: str) -> None:
        self._settings, self._fleet, self._clock = settings, fleet, clock
        self._topic = f"ohmvigil/{station}/#"

    async def run(self) -> None:
        """Connect, hear, connect again."""
        while True:
            try:
                await self._one_connection()
            except aiomqtt.MqttError as fault:
                problem = f"no connection to the broker {self._settings.broker} ({fault}); trying again"
                self._fleet.broker(problem, self._clock.monotonic_s())
            await self._clock.sleep(self._settings.first_wait_s)

    async def _one_connection(self) -> None:
        settings = self._settings
        async with aiomqtt.Client(
            settings.host,
            settings.port,
            username=settings.user,
            password=settings.password,
            timeout=settings.answer_s,
            keepalive=settings.keepalive_s,
            tls_context=settings.tls,
            socket_options=AT_ONCE,
        ) as client:
            await client.subscribe(self._topic, qos=1)
            self._fleet.broker("", self._clock.monotonic_s())
            async for heard in client.messages:
                payload = heard.payload if isinstance(heard.payload, bytes) else b""
                now_s = self._clock.monotonic_s()
                self._fleet.take(str(heard.topic), payload, now_s, retained=heard.retain)
