"""A broker of our own on loopback, for one bench or a first try: nothing to install beside this program.

It keeps retained messages in memory, speaks MQTT 3.1.1 without encryption, and notices a peer that hangs only
by its silence, as every reader of ours does anyway. A laboratory with several computers runs a broker proper.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from amqtt.broker import Broker  # type: ignore[import-untyped]
from amqtt.errors import BrokerError  # type: ignore[import-untyped]

ADDRESS = "127.0.0.1"
_MOST_CLIENTS = 64
_ANYONE_HERE = {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}}


class NoBroker(Exception):
    """The broker did not start; the message says why."""


async def serve_broker(port: int, ready: Callable[[], None]) -> None:
    """Pass messages on until cancelled, on loopback only; raises NoBroker."""
    listener = {"type": "tcp", "bind": f"{ADDRESS}:{port}", "max_connections": _MOST_CLIENTS}
    broker = Broker({"listeners": {"default": listener}, "plugins": _ANYONE_HERE})
    try:
        await broker.start()
    except BrokerError as problem:
        raise NoBroker(f"no broker can listen on {ADDRESS}:{port} ({problem.__cause__})") from None
    try:
        ready()
        await asyncio.Event().wait()
    finally:
        await broker.shutdown()
