"""`ohmvigil export RECORD`: readings, monitored values, entries or points as CSV, JSON Lines, Parquet."""

from __future__ import annotations

import argparse
import sys
from errno import EEXIST
from pathlib import Path
from typing import IO

from daemon.cli import EXIT_DONE
from daemon.cli.say import in_words, refuse, say_json
from daemon.fitting.errors import FittingError
from daemon.journal.read import RecordError
from plans.errors import PlanError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("record", type=Path, help="the record file")
    parser.add_argument("--what", choices=("readings", "monitored", "entries", "points"), default="readings")
    parser.add_argument("--format", choices=("csv", "jsonl", "parquet"), default="csv")
    parser.add_argument("--to", type=Path, help="file to write (it must not exist); default: standard output")
    parser.add_argument(
        "--dictionary", action="store_true", help="what the columns mean, instead of the data"
    )


def run(args: argparse.Namespace) -> int:
    """Export a record; exit 2 when it cannot be read or the file exists."""
    from daemon.results.export import COLUMNS, dictionary, rows

    if args.dictionary:
        return _told(dictionary(args.what), args)
    try:
        if args.json:
            names = [column.name for column in COLUMNS[args.what]]
            say_json([dict(zip(names, row, strict=True)) for row in rows(args.record, args.what)])
        else:
            _write(args)
    except BrokenPipeError:
        raise
    except (RecordError, PlanError, FittingError, OSError) as error:
        return refuse(f"REFUSED: {in_words(error)}", as_json=args.json)
    return EXIT_DONE


def _write(args: argparse.Namespace) -> None:
    if args.to is None:
        if args.format == "parquet":
            raise FittingError("a Parquet file needs --to FILE")
        _write_text(sys.stdout, args)
        return
    if args.to.exists():
        raise FileExistsError(EEXIST, "File exists", str(args.to))
    try:
        _write_file(args)
    except (RecordError, PlanError, FittingError):
        args.to.unlink(missing_ok=True)  # half a table is none
        raise


def _write_file(args: argparse.Namespace) -> None:
    from daemon.results.export import rows, write_parquet

    if args.format == "parquet":
        write_parquet(args.to, args.what, rows(args.record, args.what))
    else:
        with args.to.open("x", newline="", encoding="utf-8") as file:
            _write_text(file, args)


def _write_text(file: IO[str], args: argparse.Namespace) -> None:
    from daemon.results.export import rows, write_csv, write_json_lines

    write = write_csv if args.format == "csv" else write_json_lines
    write(file, args.what, rows(args.record, args.what))


def _told(columns: list[dict[str, str]], args: argparse.Namespace) -> int:
    if args.json:
        say_json(columns)
    else:
        for one in columns:
            print(f"{one['column']:<24} {one['type']:<6} {one['meaning']}")
    return EXIT_DONE
