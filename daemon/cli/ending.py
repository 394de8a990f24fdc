"""How a night ends on the screen: what happened, where the record is, the report, the record's head."""

from __future__ import annotations

import argparse
from pathlib import Path

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.say import refuse, say, say_json
from daemon.night import Outcome


def finish(outcome: Outcome, args: argparse.Namespace) -> int:
    """Write the report unless told not to, say how it ended, and return the exit code."""
    record = outcome.record
    folder = None if args.no_report else report_folder(record)
    lines: list[str] = []
    if folder is not None:
        from daemon.results.report import write_report

        summary = write_report(record, folder)
        lines = summary.lines()
    if args.json:
        say_json(_body(outcome, record, folder, lines))
    else:
        say(_words(outcome, record, folder, lines), hang=2)
    return EXIT_DONE if outcome.good else EXIT_BAD_OUTCOME


def not_whole(error: Exception, *, as_json: bool) -> int:
    """Say that the run ended with entries that found no room on the disk."""
    refuse(
        f"THE RECORD IS NOT WHOLE: {error}. The run was parked; read the source's temperature before"
        " touching anything.",
        as_json=as_json,
    )
    return EXIT_BAD_OUTCOME


def report_folder(record: Path) -> Path:
    """The folder beside a record in which its report is written."""
    return record.with_suffix(".report")


def _words(outcome: Outcome, record: Path, folder: Path | None, lines: list[str]) -> list[str]:
    words = ["", f"The run is {outcome.state}.", *lines]
    if outcome.cause is not None:
        words.insert(2, f"First cause: {outcome.cause.guard}: {outcome.cause.sentence}.")
    if outcome.early:
        words.insert(2, f"It ended before its plan was done: {outcome.early}.")
    words += ["", f"record  {record}  ({outcome.entries} entries)", f"head    {outcome.head}"]
    if folder is not None:
        words.append(f"report  {folder / 'summary.html'}")
    if not outcome.good:
        words += [
            "",
            "Before touching anything: read the source's temperature. Probes that look cold may be hot.",
        ]
    return words


def _body(outcome: Outcome, record: Path, folder: Path | None, lines: list[str]) -> dict[str, object]:
    return {
        "state": str(outcome.state),
        "good": outcome.good,
        "cause": outcome.cause.body() if outcome.cause else None,
        "ended_early": outcome.early or None,
        "record": str(record),
        "report": str(folder) if folder else None,
        "entries": outcome.entries,
        "head": outcome.head,
        "summary": lines,
    }
