"""`ohmvigil arm BENCH`: the checklist of the run that waits there, confirmed by the person at the bench."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from daemon.cli import EXIT_DONE
from daemon.cli.say import refuse, say
from daemon.cli.service_client import NoService, Service, ServiceRefused, add_lab_argument, own_name


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("bench", help="the bench's id in the lab file")
    parser.add_argument("--who", default=own_name(), help="who confirms (default: your user name)")
    add_lab_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Ask item by item; exit 2 when anything is not confirmed."""
    if not sys.stdin.isatty():
        return refuse("REFUSED: a checklist is confirmed by a person at a terminal.", as_json=args.json)
    try:
        service = Service(args.lab)
        checklist = service.ask(f"/api/benches/{args.bench}")["checklist"]
        if not checklist:
            return refuse("REFUSED: no run waits for its arming there.", as_json=args.json)
        for item in checklist:
            if not _confirmed(item):
                return refuse(f"REFUSED: not confirmed: {item['sentence']}", as_json=args.json)
            service.tell(f"/api/benches/{args.bench}/confirm", {"key": item["key"], "who": args.who})
    except (NoService, ServiceRefused) as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    print(f"{args.bench} is armed; the guardian is drilled, then its run begins.")
    return EXIT_DONE


def _confirmed(item: dict[str, Any]) -> bool:
    if item["caution"]:
        say([f"  CAUTION  {item['caution']}"], hang=11)
    return input(f"{item['sentence']}. Type yes: ").strip().lower() == "yes"
