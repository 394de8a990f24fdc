"""`ohmvigil evidence RECORD [FILE]`: attach a file to the record by its hash, or check those attached."""

from __future__ import annotations

import argparse
from pathlib import Path

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.review import add_signer
from daemon.cli.say import in_words, refuse, say_json
from daemon.journal.read import RecordError
from daemon.review.sign import NotSigned, Signer


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("record", type=Path, help="the record file")
    parser.add_argument(
        "file", nargs="?", type=Path, help="the file to attach (default: check those attached)"
    )
    parser.add_argument(
        "--about", default="", metavar="TEXT", help="what it is: insulation test, photograph …"
    )
    add_signer(parser)


def run(args: argparse.Namespace) -> int:
    """Attach or check; exit 1 when a copy is missing or changed, 2 when nothing could be attached or read."""
    from daemon.review.desk import DeskClock
    from daemon.review.evidence import attach, kept_evidence

    try:
        if args.file is not None:
            attach(args.record, DeskClock(), Signer(args.who, args.name), args.file, args.about)
        kept = kept_evidence(args.record)
    except (NotSigned, RecordError, OSError) as error:
        return refuse(f"REFUSED: {in_words(error)}", as_json=args.json)
    rows = [(k.evidence, k.copy, k.problem) for k in kept]
    if args.json:
        say_json([{"file": str(c), "sha256": e.sha256, "about": e.what, "problem": p} for e, c, p in rows])
    else:
        for e, copy, problem in rows:
            print(
                f"{copy.name}: {e.what}; {e.by.name}; {problem or 'as it was signed'}\n  SHA-256 {e.sha256}"
            )
        print(f"{len(rows)} attached." if rows else "Nothing is attached to this record.")
    return EXIT_BAD_OUTCOME if any(problem for _, _, problem in rows) else EXIT_DONE
