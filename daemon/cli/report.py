"""`ohmvigil report RECORD`: write the report folder again from the record alone."""

from __future__ import annotations

import argparse
from pathlib import Path

from daemon.cli import EXIT_DONE
from daemon.cli.ending import report_folder
from daemon.cli.say import in_words, refuse, say, say_json
from daemon.fitting.errors import FittingError
from daemon.journal.read import RecordError
from plans.errors import PlanError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("record", type=Path, help="the record file")
    parser.add_argument("--to", type=Path, help="folder to write into (default: beside the record)")


def run(args: argparse.Namespace) -> int:
    """Write a report; exit 2 when the record cannot be read."""
    from daemon.results.report import write_report

    folder = args.to or report_folder(args.record)
    try:
        summary = write_report(args.record, folder)
    except (RecordError, PlanError, FittingError, OSError) as error:
        return refuse(f"REFUSED: {in_words(error)}", as_json=args.json)
    if args.json:
        say_json({"verdict": summary.verdict, "summary": summary.lines(), "report": str(folder)})
    else:
        say([*summary.lines(), "", f"report  {folder / 'summary.html'}"], hang=2)
    return EXIT_DONE
