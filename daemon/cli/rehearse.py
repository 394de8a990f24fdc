"""`ohmvigil rehearse PLAN --fault …`: the night in simulated time, with what shall break."""

from __future__ import annotations

import argparse
from pathlib import Path

from daemon.cli.plans_given import plan_or_refusal
from daemon.cli.run import add_arguments as add_run_arguments
from daemon.cli.run import default_record, run_checked
from daemon.cli.say import refuse
from daemon.learning.twin_bench import rehearsed_as_learned
from daemon.learning.use import learned_of
from daemon.stand_in import stand_in
from drivers.clock import Clock
from plans.errors import PlanError

REHEARSED = "rehearsed"  # a folder of their own: a thermometer's history looks at real nights only


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    from daemon.rehearsal import describe_kinds

    parser.add_argument(
        "--learned", type=Path, help="what was learned of this bench (default: BENCH.learned.toml beside it)"
    )
    add_run_arguments(parser)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = f"Faults: KIND@H:MM[:SS][=VALUE][/SECONDS]\n\n{describe_kinds()}"
    parser.add_argument(
        "--fault", action="append", default=[], metavar="FAULT", help="something that breaks; may be repeated"
    )


def run(args: argparse.Namespace) -> int:
    """Rehearse a plan; simulated instruments stand in for those of a real bench."""
    plan = plan_or_refusal(args.plan, as_json=args.json)
    if isinstance(plan, int):
        return plan
    try:
        if plan.bench.simulation is None:
            plan = stand_in(plan, Clock().utc())
            args.record = args.record or default_record(plan, args.plan, REHEARSED)
            if not args.json:
                print(f"Simulated instruments stand in for those of {plan.names.bench}.")
        learned = learned_of(args.plan, plan, args.learned)
        plan = plan if learned is None else rehearsed_as_learned(plan, learned)
    except PlanError as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    if learned is not None and not args.json:
        print(f"Rehearsed as learned of {learned.about.bench} ({', '.join(learned.about.records)}).")
    return run_checked(plan, args, tuple(args.fault))
