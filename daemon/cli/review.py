"""`ohmvigil review RECORD`: the morning in one minute; accept, exclude with a cause, put back, amend."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.ending import report_folder
from daemon.cli.say import in_words, refuse, say, say_json
from daemon.fitting.errors import FittingError
from daemon.journal.read import RecordError
from daemon.review.sign import NotSigned, Signer
from plans.errors import PlanError

if TYPE_CHECKING:
    from daemon.review.morning import Morning

_ACTS = ("accept", "exclude", "put-back", "amend")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("record", type=Path, help="the record file")
    parser.add_argument("act", nargs="?", choices=_ACTS, help="what to sign (default: only look)")
    parser.add_argument("--point", type=int, metavar="N", help="exclude, put-back: the point, counted from 1")
    parser.add_argument("--probe", default="", metavar="SERIAL", help="one thermometer (default: all)")
    parser.add_argument("--because", default="", metavar="TEXT", help="the cause or reason; accept: a remark")
    parser.add_argument(
        "--change", default="", metavar="TEXT", help="amend: what was wrong and what is right"
    )
    add_signer(parser)


def add_signer(parser: argparse.ArgumentParser) -> None:
    """The two options with which a person signs."""
    parser.add_argument("--who", default="", metavar="ID", help="who signs: a short id")
    parser.add_argument("--name", default="", metavar="NAME", help="who signs: the name as written out")


def run(args: argparse.Namespace) -> int:
    """Show or sign; exit 1 when there is something to look at, 2 when nothing could be signed or read."""
    from daemon.review.morning import look

    try:
        if args.act is not None:
            _sign(args)
        morning = look(args.record)
    except (NotSigned, RecordError, PlanError, FittingError, OSError) as error:
        return refuse(f"REFUSED: {in_words(error)}", as_json=args.json)
    return _told(morning, args)


def _told(morning: Morning, args: argparse.Namespace) -> int:
    page = _page(args.record, morning.head)
    if args.json:
        say_json(morning.body() | {"page": page})
    else:
        say([*morning.lines(), f"page  {page}"], hang=2)
    return EXIT_DONE if morning.good or args.act is not None else EXIT_BAD_OUTCOME


def _page(record: Path, head: str) -> str:
    """Where the page with plots, R0 history and control chart is, or what makes it."""
    folder = report_folder(record)
    try:
        told = json.loads((folder / "coefficients.json").read_text(encoding="utf-8"))["record"]["head"]
    except (OSError, ValueError, KeyError, TypeError):
        return f"not written yet: `ohmvigil report {record}`"
    page = str(folder / "summary.html")
    return page if told == head else f"{page}, older than the record: `ohmvigil report {record}`"


def _sign(args: argparse.Namespace) -> None:
    from daemon.review import acts
    from daemon.review.desk import DeskClock

    record, clock, signer = args.record, DeskClock(), Signer(args.who, args.name)
    if args.act in ("exclude", "put-back") and args.point is None:
        raise NotSigned("say which point with --point (counted from 1)")
    match args.act:
        case "accept":
            acts.accept(record, clock, signer, args.because)
        case "exclude":
            acts.exclude(record, clock, signer, args.point, args.probe, args.because)
        case "put-back":
            acts.put_back(record, clock, signer, args.point, args.probe, args.because)
        case "amend":
            acts.amend(record, clock, signer, args.probe, args.change, args.because)
