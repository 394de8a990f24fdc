"""`ohmvigil watch BROKER`: every bench that tells a broker, and a call when one falls silent."""

from __future__ import annotations

import argparse
import asyncio
import os
import sys
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.say import refuse, say_json
from daemon.cli.watch_fleet import SILENT_S, Fleet
from daemon.cli.watch_listening import Listening
from daemon.notices.caller import caller_of
from daemon.notices.sending import NoticeError
from daemon.telemetry.settings import MqttAddressError, parse_mqtt_address
from drivers.clock import Clock
from plans.lab import Notices

_EVERY_S = 1.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("broker", help="mqtt://host/station (mqtts:// for TLS), as `run --mqtt` takes it")
    parser.add_argument("--all-stations", action="store_true", help="not only the station of the address")
    parser.add_argument("--first-person", metavar="FILE", help="whom to call: Apprise addresses, one a line")
    parser.add_argument("--second-person", metavar="FILE", help="whom to call when the first does not help")
    parser.add_argument(
        "--silent-s",
        type=float,
        default=SILENT_S,
        metavar="S",
        help=f"call when a run has said nothing for so long (default {SILENT_S:g} s)",
    )
    parser.add_argument(
        "--page", type=int, metavar="PORT", help="also as a page on this machine (0: any free port)"
    )
    parser.add_argument("--once-s", type=float, metavar="S", help="listen so long, print, and end")


def run(args: argparse.Namespace) -> int:
    """Watch; exit 1 when a bench calls for a person or no broker is there at the end, 2 for bad input."""
    if args.page is not None and not 0 <= args.page <= 65535:
        return refuse("REFUSED: --page is a port from 0 to 65535.", as_json=args.json)
    if not 1.0 <= args.silent_s <= 86400.0 or not 0.1 <= (args.once_s or 3.0) <= 3600.0:
        return refuse("REFUSED: --silent-s is 1 to 86400 s, --once-s 0.1 to 3600 s.", as_json=args.json)
    try:
        with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
            fleet = runner.run(_watch(args))
    except (MqttAddressError, NoticeError, OSError) as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    return EXIT_BAD_OUTCOME if fleet.calling() or not fleet.connected else EXIT_DONE


async def _watch(args: argparse.Namespace) -> Fleet:
    clock = Clock()
    settings = parse_mqtt_address(args.broker, "watch", os.environ)
    fleet = Fleet(clock.monotonic_s(), args.silent_s)
    listening = Listening(settings, fleet, clock, "+" if args.all_stations else settings.station)
    caller = caller_of(_notices(args), Path.cwd(), lambda line: print(line, file=sys.stderr))
    task = asyncio.create_task(listening.run())
    try:
        if args.once_s is not None or args.json:
            await clock.sleep(args.once_s or 3.0)
            fleet.look(clock.monotonic_s())
            say_json(fleet.told()) if args.json else print("\n".join(fleet.lines()))
            return fleet
        async with _screens(args) as draw:
            while True:
                fleet.look(clock.monotonic_s())
                for name, cause in fleet.causes().items():
                    caller.look(name, cause, clock.monotonic_s())
                draw(fleet)
                await clock.sleep(_EVERY_S)
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        await caller.finish()


@asynccontextmanager
async def _screens(args: argparse.Namespace) -> AsyncIterator[Callable[[Fleet], None]]:
    """The terminal, and the page when it is asked for."""
    from daemon.cli.watch_screen import show

    if args.page is None:
        with show() as screen:
            yield screen
        return
    from daemon.cli.watch_page import FleetPage

    page = FleetPage()
    async with page.served(args.page) as address:
        print(f"page: {address}", file=sys.stderr, flush=True)
        with show(title=address) as screen:

            def both(fleet: Fleet) -> None:
                page.draw(fleet)
                screen(fleet)

            yield both


def _notices(args: argparse.Namespace) -> Notices:
    return Notices(first_person=args.first_person, second_person=args.second_person)
