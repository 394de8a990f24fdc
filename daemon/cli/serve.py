"""`ohmvigil serve LAB`: one daemon for all benches of a lab file, with its page on this machine."""

from __future__ import annotations

import argparse
import asyncio
import os
import signal
import sys
from pathlib import Path

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.say import refuse
from daemon.cli.service_client import LAB_VARIABLE
from daemon.guardian.manager import tell_manager
from drivers.clock import Clock
from plans.errors import PlanError
from plans.lab import LoadedLab, load_lab

_BEAT_S = 5.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    lab = os.environ.get(LAB_VARIABLE, "lab.toml")
    parser.add_argument(
        "lab",
        type=Path,
        nargs="?",
        default=Path(lab),
        help=f"the lab file (default: {LAB_VARIABLE}, else lab.toml)",
    )


def run(args: argparse.Namespace) -> int:
    """Serve until a signal; the first halts the benches and waits for them, the second leaves at once."""
    from daemon.notices.sending import NoticeError
    from daemon.service.log import begin_log
    from daemon.service.queue import QueueError
    from daemon.service.token import TokenError

    try:
        lab = load_lab(args.lab)
    except PlanError as error:
        return refuse(f"REFUSED: {args.lab.name} cannot be used.\n\n{error}", as_json=args.json)
    problem = _mqtt_problem(lab)
    if problem:
        return refuse(f"REFUSED: {args.lab.name}, table [mqtt]: {problem}", as_json=args.json)
    begin_log(sys.stderr)
    try:
        asyncio.run(_serve(lab))
    except (OSError, QueueError, TokenError, NoticeError) as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    except asyncio.CancelledError:
        return EXIT_BAD_OUTCOME
    return EXIT_DONE


def _mqtt_problem(lab: LoadedLab) -> str:
    """Why the broker's address cannot be used; found now, not when the first run begins at night."""
    from daemon.telemetry.settings import MqttAddressError, settings_of_lab

    names = [bench.name for bench in lab.benches.values()]
    try:
        if lab.lab.mqtt is not None:
            settings_of_lab(lab.lab.mqtt.address, names, os.environ)
    except MqttAddressError as error:
        return str(error)
    return ""


async def _serve(lab: LoadedLab) -> None:
    from daemon.service.serving import serve

    stop, serving = asyncio.Event(), asyncio.current_task()
    assert serving is not None

    def asked() -> None:
        if stop.is_set():
            serving.cancel()
        tell_manager("STOPPING=1")
        print("stopping: runs on their way are parked first; once more to leave at once", file=sys.stderr)
        stop.set()

    def ready(address: str) -> None:
        tell_manager("READY=1")
        print(f"{lab.lab.header.name}: {address}", flush=True)

    for number in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(number, asked)
    beating = asyncio.create_task(_tell_that_we_live())
    try:
        await serve(lab, stop, ready)
    finally:
        beating.cancel()


async def _tell_that_we_live() -> None:
    """To the service manager, from the loop that everything here runs on: a loop that hangs falls silent."""
    clock = Clock()
    while True:
        tell_manager("WATCHDOG=1")
        await clock.sleep(_BEAT_S)
