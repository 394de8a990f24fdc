"""`ohmvigil status`: what the daemon's benches are doing, once or for as long as one looks."""

from __future__ import annotations

import argparse
from typing import Any

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.say import hours, refuse, say_json
from daemon.cli.service_client import NoService, Service, ServiceRefused, add_lab_argument


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("--follow", action="store_true", help="go on showing, with a small curve a channel")
    add_lab_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Show the status; exit 1 when a bench calls for a person, 2 when no daemon answers."""
    try:
        service = Service(args.lab)
        if args.follow and not args.json:
            from daemon.cli.status_follow import follow

            return follow(service)
        lab = service.ask("/api/status")
    except (NoService, ServiceRefused) as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    if args.json:
        say_json(lab)
    else:
        print("\n".join(line for bench in lab["benches"] for line in _lines(bench)))
    return EXIT_BAD_OUTCOME if any(bench["calls"] for bench in lab["benches"]) else EXIT_DONE


def _lines(bench: dict[str, Any]) -> list[str]:
    lines = [f"{bench['id']}  {bench['name']}: {bench['standing']}, {bench['sentence']}"]
    if bench["calls"]:
        lines.append(f"  CALLS FOR A PERSON: {bench['calls']}")
    if bench["run"]:
        lines += _run(bench["run"])
    lines += [f"  waiting: {run['number']}: {run['title']}, by {run['who']}" for run in bench["queue"]]
    lines += [f"  to confirm: {item['sentence']}" for item in bench["checklist"] if not item["confirmed"]]
    return lines


def _run(run: dict[str, Any]) -> list[str]:
    point = f", point {run['point']}" if run["point"] else ""
    lines = [f"  {run['title']}: {run['state']}{point}, {hours(run['elapsed_s'])} since the start"]
    lines += [
        f"  {one['name']:<14} {one['role'].replace('_', ' '):<15} {one['temperature_c']:10.3f} °C"
        for one in run["channels"]
        if one["temperature_c"] is not None
    ]
    return lines
