"""`ohmvigil validate`: is this copy of the program fit for use, on this machine, with these libraries?"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.say import refuse, say_json
from daemon.validation.check import Part


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument(
        "--records", type=Path, metavar="DIR", help="also the laboratory's own records in this folder"
    )
    parser.add_argument("--seeds", type=int, default=2, help="synthetic nights of each plan (default 2)")
    parser.add_argument("--report", type=Path, metavar="FILE", help="write the report as a page (HTML)")
    parser.add_argument("--name", default="", help="who signs the report; left out, a line to sign on")


def run(args: argparse.Namespace) -> int:
    """Validate; exit 1 when a check does not hold, 2 when it could not be done."""
    if not 1 <= args.seeds <= _MOST_SEEDS:
        message = f"REFUSED: --seeds {args.seeds}: expected a number from 1 to {_MOST_SEEDS}."
        return refuse(message, as_json=args.json)
    if args.records is not None and not any(args.records.rglob("*.record")):
        message = f"REFUSED: {args.records}: no such folder, or no record in it."
        return refuse(message, as_json=args.json)
    parts = _parts(args, lambda sentence: print(sentence, file=sys.stderr, flush=True))
    try:
        _report(args, parts)
    except OSError as error:
        return refuse(f"REFUSED: {error.filename}: {error.strerror}", as_json=args.json)
    good = all(part.holds for part in parts)
    if args.json:
        say_json({"holds": good, "parts": [asdict(part) for part in parts]})
    else:
        print("\n".join(line for part in parts for line in _lines(part)))
        print("Every check holds." if good else "NOT VALID: do not use this copy until the cause is found.")
    return EXIT_DONE if good else EXIT_BAD_OUTCOME


_MOST_SEEDS = 1000


def _parts(args: argparse.Namespace, say: Callable[[str], None]) -> list[Part]:
    from daemon.validation.faults import TRIALS, check_faults
    from daemon.validation.nights import check_nights
    from daemon.validation.published import check_published
    from daemon.validation.records import check_records

    say("published tables")
    own = [] if args.records is None else [check_records(args.records, say)]
    with tempfile.TemporaryDirectory() as folder:
        return [
            *own,
            check_published(),
            check_nights(Path(folder), args.seeds, say),
            check_faults(Path(folder), TRIALS, say),
        ]


def _report(args: argparse.Namespace, parts: list[Part]) -> None:
    if args.report is None:
        return
    from daemon.program import this_program
    from daemon.validation.page import validation_page
    from drivers.clock import Clock

    page = validation_page(parts, this_program(), Clock().utc_s(), args.name.strip())
    args.report.write_text(page, encoding="utf-8")


def _lines(part: Part) -> list[str]:
    missed = [check for check in part.checks if not check.holds]
    lines = [f"{part.title}: {len(part.checks) - len(missed)} of {len(part.checks)} checks hold"]
    return lines + [f"  NO  {one.what}: expected {one.expected}, found {one.found}" for one in missed]
