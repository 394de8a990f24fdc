"""`ohmvigil broker`: an MQTT broker on this machine alone, for one bench without one."""

from __future__ import annotations

import argparse
import asyncio
import importlib.util
import logging
import signal
from contextlib import suppress

from daemon.cli import EXIT_DONE
from daemon.cli.say import refuse, say_json
from daemon.program import to_install

_PORT = 1883


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("--port", type=int, default=_PORT, help=f"loopback port (default {_PORT})")
    parser.add_argument(
        "--messages",
        action="store_true",
        help="print what a broker is told, address, topics and fields (--json: JSON schemas), and end",
    )


def run(args: argparse.Namespace) -> int:
    """Serve until interrupted; exit 2 when it cannot."""
    if args.messages:
        return _messages(as_json=args.json)
    if not 1 <= args.port <= 65535:
        return refuse(f"REFUSED: --port {args.port} is not from 1 to 65535.", as_json=args.json)
    if importlib.util.find_spec("amqtt") is None:
        return refuse(f"REFUSED: this needs one more package: {to_install('broker')}.", as_json=args.json)
    from daemon.telemetry.own_broker import NoBroker

    # The library tells of every connection; a person here wants to know that it runs, and no more.
    logging.getLogger("amqtt").setLevel(logging.CRITICAL)
    logging.getLogger("transitions").setLevel(logging.CRITICAL)
    try:
        asyncio.run(_serve(args))
    except NoBroker as problem:
        return refuse(f"REFUSED: {problem}.", as_json=args.json)
    return EXIT_DONE


def _messages(*, as_json: bool) -> int:
    from daemon.telemetry.document import markdown
    from daemon.telemetry.topics import schemas

    say_json(schemas()) if as_json else print(markdown())
    return EXIT_DONE


async def _serve(args: argparse.Namespace) -> None:
    from daemon.telemetry.own_broker import ADDRESS, serve_broker

    def ready() -> None:
        address = f"mqtt://{ADDRESS}:{args.port}/STATION"
        words = f"MQTT broker for this machine alone: {address}. Retained messages end with it."
        say_json({"address": address}) if args.json else print(words, flush=True)

    serving = asyncio.create_task(serve_broker(args.port, ready))
    for number in (signal.SIGTERM, signal.SIGINT):
        asyncio.get_running_loop().add_signal_handler(number, serving.cancel)
    with suppress(asyncio.CancelledError):
        await serving
