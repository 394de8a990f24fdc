"""`ohmvigil run PLAN`: the night itself, in the foreground."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path

from daemon.arming import confirmed_unasked, unattended_problem
from daemon.cli.ending import finish, not_whole
from daemon.cli.live import LiveView
from daemon.cli.plans_given import checked_or_refusal, plan_or_refusal
from daemon.cli.say import free_path, refuse, say
from daemon.cli.telling import CannotTell, add_mqtt_argument, telling
from daemon.timetable import forecast
from plans.run_plan import RunPlan


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("plan", type=Path, help="the run plan (TOML)")
    parser.add_argument("--record", type=Path, help="the record file to write (it must not exist yet)")
    parser.add_argument("--no-report", action="store_true", help="leave the report for later")
    parser.add_argument(
        "--yes", action="store_true", help="confirm everything unasked (simulated benches only)"
    )
    add_attended_argument(parser)
    add_mqtt_argument(parser)


def add_attended_argument(parser: argparse.ArgumentParser) -> None:
    """The option without which a plan that asks a person is neither begun nor gone on with."""
    parser.add_argument(
        "--attended", action="store_true", help="somebody stays and does what the plan asks of a person"
    )


def run(args: argparse.Namespace) -> int:
    """Run a plan; exit 2 refused, 1 when the run did not come to its end, 0 when it did."""
    plan = plan_or_refusal(args.plan, as_json=args.json)
    if isinstance(plan, int):
        return plan
    alone = "" if args.attended else unattended_problem(plan)
    if alone:
        return refuse(f"REFUSED: {alone}", as_json=args.json)
    return run_checked(plan, args, ())


def run_checked(plan: RunPlan, args: argparse.Namespace, faults: tuple[str, ...]) -> int:
    """The same for `rehearse`, with what shall break; a simulated person does what the plan asks."""
    report = checked_or_refusal(plan, as_json=args.json)
    if isinstance(report, int):
        return report
    if not args.json:
        say((f"CAUTION  {finding.text}" for finding in report.cautions), hang=9)
    if plan.bench.simulation is None:
        return _real(plan, args)
    record = args.record or default_record(plan, args.plan)
    return _simulated(plan, record, faults, args)


def default_record(plan: RunPlan, path: Path, below: str = "") -> Path:
    """The next free record of a plan in its bench's folder of records, or in a folder below that."""
    folder = path.resolve().parent / plan.bench.record.folder / below
    return free_path(folder, path.stem, ".record")


def _simulated(plan: RunPlan, record: Path, faults: tuple[str, ...], args: argparse.Namespace) -> int:
    from daemon.journal.sinks import StorageFault
    from daemon.rehearsal import FaultError, rehearse
    from drivers.errors import InstrumentError

    if record.exists():
        return refuse(f"REFUSED: {record} exists; a record is never overwritten.", as_json=args.json)
    try:
        with (
            telling(args.mqtt, plan, record) as listeners,
            LiveView(forecast(plan), quiet=args.json) as view,
        ):
            rehearsal = rehearse(
                plan, record, faults=faults, listeners=[view, *listeners], said=_unasked(plan)
            )
    except (FaultError, CannotTell) as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    except StorageFault as error:
        return not_whole(error, as_json=args.json)
    except (InstrumentError, OSError) as error:
        return refuse(f"REFUSED: nothing was heated. {error}", as_json=args.json)
    return finish(rehearsal.outcome, args)


def _unasked(plan: RunPlan) -> Sequence[Mapping[str, object]]:
    """On a simulated bench nobody is asked; the record says so."""
    assert plan.bench.simulation is not None
    utc_s = plan.bench.simulation.start_utc.timestamp()
    return confirmed_unasked(plan, "nobody: simulated bench", utc_s).entries(utc_s)


def _real(plan: RunPlan, args: argparse.Namespace) -> int:
    from daemon.cli.real import run_real

    return run_real(plan, args.record or default_record(plan, args.plan), args)
