"""`ohmvigil rehearse PLAN --fault …`: the night in simulated time, with what shall break."""

from __future__ import annotations

import argparse

from daemon.cli.plans_given import plan_or_refusal
from daemon.cli.run import add_arguments as add_run_arguments
from daemon.cli.run import run_checked
from daemon.cli.say import refuse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    from daemon.rehearsal import describe_kinds

    add_run_arguments(parser)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = f"Faults: KIND@H:MM[:SS][=VALUE][/SECONDS]\n\n{describe_kinds()}"
    parser.add_argument(
        "--fault", action="append", default=[], metavar="FAULT", help="something that breaks; may be repeated"
    )


def run(args: argparse.Namespace) -> int:
    """Rehearse a plan; refused on a bench that is not simulated."""
    plan = plan_or_refusal(args.plan, as_json=args.json)
    if isinstance(plan, int):
        return plan
    if plan.bench.simulation is None:
        message = f"REFUSED: {plan.names.bench} is a real bench; a rehearsal needs a [simulation] table."
        return refuse(message, as_json=args.json)
    return run_checked(plan, args, tuple(args.fault))
