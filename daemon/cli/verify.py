"""`ohmvigil verify RECORD`: is every entry as it was written, and does this program still find the same?"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.ending import report_folder
from daemon.cli.say import in_words, refuse, say_json
from daemon.fitting.errors import FittingError
from daemon.journal.read import RecordError, Verification, verify
from plans.errors import PlanError

if TYPE_CHECKING:
    from daemon.review.recompute import Recomputed


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("record", type=Path, help="the record file")
    parser.add_argument("--head", help="the head hash printed when the run ended, or any printed later")
    parser.add_argument(
        "--report", type=Path, help="report folder to compare with (default: beside the record)"
    )
    parser.add_argument("--chain-only", action="store_true", help="do not evaluate the readings again")


def run(args: argparse.Namespace) -> int:
    """Verify a record; exit 1 when it is not intact or gives another result now, 2 when it cannot be read."""
    try:
        found = verify(args.record)
        again = _again(found, args)
    except (RecordError, PlanError, FittingError, OSError) as error:
        return refuse(f"REFUSED: {in_words(error)}", as_json=args.json)
    same = args.head is None or args.head.lower() in (found.head, found.closed_head)
    good = found.intact and same and all(one.same for one in again)
    if args.json:
        say_json(asdict(found) | {"head_as_given": same, "recomputed": [_plain(one) for one in again]})
    else:
        print("\n".join([*_chain_words(found, same, args), *(line for one in again for line in _words(one))]))
    return EXIT_DONE if good else EXIT_BAD_OUTCOME


def _again(found: Verification, args: argparse.Namespace) -> Sequence[Recomputed]:
    if args.chain_only or not found.intact:
        return ()
    from daemon.review.recompute import recompute

    return recompute(args.record, args.report or report_folder(args.record))


def _chain_words(found: Verification, same: bool, args: argparse.Namespace) -> list[str]:
    if not found.intact:
        return [f"NOT INTACT: {found.problem}; the {found.entries} entries before it are as written."]
    if not same:
        return [
            f"NOT THE SAME: the chain is whole, but its head is {found.head}.",
            "Entries were cut off, or the whole record was written anew.",
        ]
    signed = f", {found.signed} of them signed by people after it" if found.signed else ""
    closed = "closed" if found.closed else "not closed (interrupted)"
    lines = [f"Intact: {found.entries} entries, {closed}{signed}.", f"head {found.head}"]
    if args.head is None:
        lines.append(
            "A chain alone shows no cut-off end: compare the head with the one printed in the report."
        )
    return lines


def _words(one: Recomputed) -> list[str]:
    if one.same:
        return [f"Results {one.version}: evaluated anew, the same to the last digit."]
    differences = [f"  {serial}: {words}" for serial, words in one.differences.items() if words]
    return [f"OTHER RESULT than {one.version} (by program {one.program}):", *differences]


def _plain(one: Recomputed) -> dict[str, object]:
    return {"version": one.version, "program": one.program, "same": one.same, "differences": one.differences}
