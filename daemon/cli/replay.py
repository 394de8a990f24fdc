"""`ohmvigil replay RECORD`: would today's program, another guard or another plan have decided the same?"""

from __future__ import annotations

import argparse
import os
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.ending import report_folder
from daemon.cli.say import refuse, say_json

if TYPE_CHECKING:
    from daemon.replay.continued import Continued
    from daemon.replay.replay import Replayed
    from daemon.replay.results import ResultChange
    from plans.run_plan import RunPlan


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.epilog = (
        "Exit codes: 0 the same decisions and results, 1 a difference, 2 refused (with --all: at least one "
        "record could not be replayed)."
    )
    parser.add_argument("record", type=Path, nargs="?", help="the record file")
    parser.add_argument("--all", type=Path, metavar="DIR", help="every record of a folder, as one table")
    changed = parser.add_mutually_exclusive_group()
    changed.add_argument(
        "--guards", type=Path, metavar="TOML", help="[guards.NAME] tables with other figures"
    )
    changed.add_argument("--plan", type=Path, metavar="TOML", help="another plan instead of the recorded one")
    parser.add_argument(
        "--continue",
        dest="go_on",
        choices=["simulated"],
        help="where the run parts from the record, go on with it on a simulated bench fitted to that record",
    )
    parser.add_argument(
        "--report", type=Path, help="report folder to compare with (default: beside the record)"
    )
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1, metavar="N", help="for --all")


def run(args: argparse.Namespace) -> int:
    """Replay; exit 1 on a difference, 2 when a record cannot be replayed."""
    if (args.record is None) == (args.all is None):
        return refuse("REFUSED: give one record, or --all with a folder of records.", as_json=args.json)
    if args.all is not None:
        from daemon.cli.replay_all import run_all

        return run_all(args)
    if args.record.is_dir():
        return refuse(f"REFUSED: {args.record} is a folder: give --all {args.record}.", as_json=args.json)
    if args.report is not None and not (args.report / "coefficients.json").is_file():
        return refuse(
            f"REFUSED: --report {args.report}: no report folder, it has no coefficients.json.",
            as_json=args.json,
        )
    from daemon.fitting.errors import FittingError
    from daemon.guards.guard import LoosenedThreshold
    from daemon.journal.read import RecordError
    from daemon.replay.continued import CannotContinue
    from drivers.errors import BadProfile
    from plans.errors import PlanError

    try:
        return _replayed(args)
    except (
        CannotContinue,
        RecordError,
        PlanError,
        FittingError,
        BadProfile,
        LoosenedThreshold,
        OSError,
    ) as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)


def _replayed(args: argparse.Namespace) -> int:
    from daemon.replay.continued_words import continued_lines
    from daemon.replay.words import result_lines, unknowable_lines, verdict_lines

    asked = args.guards is not None or args.plan is not None
    found, continued = _course(args)
    results = _results(args, found)
    if args.json:
        say_json(_plain(found, results) | ({} if continued is None else {"continued": asdict(continued)}))
    else:
        after = unknowable_lines(args.record, found) if asked else []
        after += [] if args.guards is not None or (asked and found.parted) else result_lines(results)
        later = [] if continued is None else continued_lines(continued)
        print("\n".join([*verdict_lines(found), *after, *later]))
    same = found.identical and all(change.same for change in results)
    return EXIT_DONE if same else EXIT_BAD_OUTCOME


def _results(args: argparse.Namespace, found: Replayed) -> list[ResultChange]:
    """Against what was reported and accepted; under another plan against the recorded one, if points stay."""
    from daemon.replay.results import compare_plans, compare_results

    if args.plan is not None:
        return [] if found.parted else compare_plans(args.record, found.run)
    if args.guards is not None:
        return []
    return compare_results(args.record, args.report or report_folder(args.record))


def _course(args: argparse.Namespace) -> tuple[Replayed, Continued | None]:
    from daemon.replay.continued import replay_and_continue
    from daemon.replay.replay import replay

    if args.go_on is None:
        return replay(args.record, _plan(args)), None
    return replay_and_continue(
        args.record, _plan(args), say=lambda sentence: print(sentence, file=sys.stderr)
    )


def _plan(args: argparse.Namespace) -> RunPlan:
    from daemon.guards.catalogue import make_guards
    from daemon.replay.changed import recorded_plan, with_guards
    from plans.loading import load_plan

    if args.plan is not None:
        run = load_plan(args.plan)
        make_guards(run.plan.guards)
        return run
    run = recorded_plan(args.record)
    return run if args.guards is None else with_guards(run, args.guards)


def _plain(found: Replayed, results: list[ResultChange]) -> dict[str, object]:
    return {
        "same": found.identical and all(change.same for change in results),
        "decisions": found.decisions,
        "compared": {str(kind): n for kind, n in found.same.items()},
        "replayed_s": found.replayed_s,
        "lasted_s": found.lasted_s,
        "unknowable_from_s": found.parted.since_start_s if found.parted else None,
        "differences": [asdict(one) for one in found.differences],
        "results": [asdict(one) | {"same": one.same} for one in results],
    }
