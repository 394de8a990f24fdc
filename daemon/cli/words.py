"""`ohmvigil hold|release|halt|cut|acknowledge BENCH`: an operator's word to the daemon."""

from __future__ import annotations

import argparse

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.say import refuse, say_json
from daemon.cli.service_client import NoService, Service, ServiceRefused, add_lab_argument, own_name


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command; the word is the command's own name."""
    parser.add_argument("bench", help="the bench's id in the lab file")
    parser.add_argument("--reason", default="", help="why, for the record")
    parser.add_argument("--who", default=own_name(), help="who says it (default: your user name)")
    parser.set_defaults(word=parser.prog.split()[-1])
    add_lab_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Say the word; exit 1 when it changed nothing, 2 when it could not be said."""
    try:
        said = {"who": args.who, "reason": args.reason}
        answer = Service(args.lab).tell(f"/api/benches/{args.bench}/{args.word}", said)
    except (NoService, ServiceRefused) as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    if args.json:
        say_json(answer)
    else:
        print(f"{args.bench}: {answer['sentence']}.")
    return EXIT_DONE if answer["effect"] else EXIT_BAD_OUTCOME
