"""`ohmvigil table RECORD PROBE`: R(t), dR/dt and U(t) at any step, for people, for files, for indicators."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path

from daemon.cli import EXIT_DONE
from daemon.cli.characteristics import read_characteristic
from daemon.cli.say import refuse, say_json
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.errors import FittingError
from daemon.fitting.table import as_csv, as_text, table_rows
from daemon.journal.read import RecordError
from plans.errors import PlanError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("source", type=Path, help="a record, or the JSON that `ohmvigil fit --to` wrote")
    parser.add_argument("probe", nargs="?", help="serial of the thermometer (record only)")
    parser.add_argument("--step-k", type=float, default=1.0, metavar="K", help="step (default 1 K)")
    parser.add_argument(
        "--from-c", type=float, metavar="C", help="first temperature (default: start of the range)"
    )
    parser.add_argument(
        "--to-c", type=float, metavar="C", help="last temperature (default: end of the range)"
    )
    parser.add_argument("--csv", action="store_true", help="comma-separated, units in the column names")


def run(args: argparse.Namespace) -> int:
    """Print a table; exit 2 on bad input or outside the calibrated range."""
    try:
        characteristic = _characteristic(args)
        rows = table_rows(characteristic, args.step_k, args.from_c, args.to_c)
    except (FittingError, RecordError, PlanError, OSError, UnicodeDecodeError) as error:
        return refuse(f"REFUSED: {args.source.name}: {error}", as_json=args.json)
    if args.json:
        say_json([asdict(row) for row in rows])
    else:
        print(as_csv(rows) if args.csv else as_text(rows), end="")
    return EXIT_DONE


def _characteristic(args: argparse.Namespace) -> Characteristic:
    if args.source.suffix == ".json":
        return read_characteristic(args.source)
    return _of_record(args)


def _of_record(args: argparse.Namespace) -> Characteristic:
    from daemon.results.calibrate import calibrate

    items = {item.serial: item for item in calibrate(args.source).items}
    if args.probe not in items:
        raise FittingError(f"name one thermometer of this record: {', '.join(items)}")
    item = items[args.probe]
    if item.characteristic is None:
        raise FittingError(f"{item.serial} could not be fitted: {item.problem}")
    return item.characteristic
