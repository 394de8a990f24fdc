"""`ohmvigil submit BENCH PLAN`: queue a plan of the lab's plans folder."""

from __future__ import annotations

import argparse

from daemon.cli import EXIT_DONE
from daemon.cli.say import refuse, say_json
from daemon.cli.service_client import NoService, Service, ServiceRefused, add_lab_argument, own_name


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("bench", help="the bench's id in the lab file")
    parser.add_argument("plan", help="the plan's name: its file in the plans folder, without .toml")
    parser.add_argument("--who", default=own_name(), help="who submits it (default: your user name)")
    add_lab_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Submit; exit 2 when the plan is refused or no daemon answers."""
    try:
        body = {"plan": args.plan, "who": args.who}
        queued = Service(args.lab).tell(f"/api/benches/{args.bench}/submit", body)
    except (NoService, ServiceRefused) as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    if args.json:
        say_json(queued)
    else:
        print(f"{args.bench}: run {queued['number']} is queued: {queued['title']}.")
    return EXIT_DONE
