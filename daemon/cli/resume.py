"""`ohmvigil resume RECORD`: look first, then go on if plan, gap and bench allow it; else park."""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from daemon.arming import unattended_problem
from daemon.cli.ending import finish, not_whole
from daemon.cli.live import LiveView
from daemon.cli.run import add_attended_argument
from daemon.cli.say import refuse
from daemon.journal.read import RecordError, read_opening, read_to_damage
from daemon.journal.sinks import StorageFault
from daemon.night import CannotResume, recorded_plan_texts
from daemon.timetable import forecast
from drivers.errors import InstrumentError
from plans.errors import PlanError
from plans.loading import parse_plan


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("record", type=Path, help="the record of an interrupted run")
    add_attended_argument(parser)
    parser.add_argument("--no-report", action="store_true", help="leave the report for later")
    parser.add_argument(
        "--gap-s",
        type=float,
        default=60.0,
        metavar="S",
        help="simulated bench only: seconds in which nobody watched (default 60)",
    )


def run(args: argparse.Namespace) -> int:
    """Resume a run; exit 2 when the record does not allow it, 1 when it ends parked."""
    if not 0.0 <= args.gap_s <= 1e6:
        return refuse(
            f"REFUSED: --gap-s {args.gap_s:g} is not a time from 0 to 1000000 s.", as_json=args.json
        )
    try:
        outcome = _resumed(args)
    except StorageFault as error:
        return not_whole(error, as_json=args.json)
    except (CannotResume, RecordError, InstrumentError, PlanError, OSError) as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    return finish(outcome, args)


def _resumed(args: argparse.Namespace):  # type: ignore[no-untyped-def]
    plan = parse_plan(*recorded_plan_texts(args.record))
    # Whoever is not there keeps the run from going on, not from being parked.
    forbidden = "" if args.attended else unattended_problem(plan)
    begun_utc_s = read_opening(args.record).utc_s
    with LiveView(forecast(plan), begun_utc_s=begun_utc_s, quiet=args.json) as view:
        if plan.bench.simulation is not None:
            from daemon.rehearsal import resume_rehearsal

            return resume_rehearsal(
                plan, args.record, gap_s=args.gap_s, listeners=[view], forbidden=forbidden
            ).outcome
        from daemon.cli.real import resume_real

        gap_s = time.time() - max(entry.utc_s for entry in read_to_damage(args.record))
        return resume_real(plan, args.record, gap_s, view, attended=args.attended, forbidden=forbidden)
