"""`ohmvigil simulate`: a bench's instruments, simulated or as recorded, on sockets and pseudo-terminals."""

from __future__ import annotations

import argparse
import re
import signal
import sys
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.cli import EXIT_DONE
from daemon.cli.plans_given import plan_or_refusal
from daemon.cli.say import hours, refuse, say_json

if TYPE_CHECKING:
    from daemon.rehearsal import Stand

_CARRIERS = ("tcp", "pty")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    from daemon.rehearsal import describe_kinds

    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = f"Faults: KIND@H:MM[:SS][=VALUE][/SECONDS]\n\n{describe_kinds()}"
    parser.add_argument("plan", type=Path, nargs="?", help="a run plan (TOML) on a simulated bench")
    parser.add_argument(
        "--record",
        type=Path,
        metavar="RECORD",
        help="the instruments of a recorded night instead, which answer as they answered then",
    )
    parser.add_argument(
        "--from",
        dest="from_time",
        metavar="H:MM[:SS]",
        help="where in the record to begin (default: its start)",
    )
    parser.add_argument("--source", choices=_CARRIERS, default="tcp", help="what carries the heat source")
    parser.add_argument("--bridge", choices=_CARRIERS, default="tcp", help="what carries bridge and scanner")
    parser.add_argument(
        "--beside", choices=_CARRIERS, default="tcp", help="what carries readout, ambient monitor, interlocks"
    )
    parser.add_argument(
        "--factor",
        type=float,
        default=1.0,
        help="simulated seconds in each real one (other than 1, a client needs the same)",
    )
    parser.add_argument(
        "--fault", action="append", default=[], metavar="FAULT", help="something that breaks; may be repeated"
    )


def run(args: argparse.Namespace) -> int:
    """Serve until Ctrl-C; exit 2 for a plan or record that cannot be used, a real bench or a bad fault."""
    if (args.plan is None) == (args.record is None):
        return refuse("REFUSED: give a plan, or --record with a record.", as_json=args.json)
    if args.record is not None:
        return _recorded(args)
    if args.from_time is not None:
        return refuse(
            "REFUSED: --from says where in a record to begin; it needs --record.", as_json=args.json
        )
    return _simulated(args)


def _simulated(args: argparse.Namespace) -> int:
    from daemon.rehearsal import make_scene

    plan = plan_or_refusal(args.plan, as_json=args.json)
    if isinstance(plan, int):
        return plan
    try:
        faults = (*plan.bench.simulation.faults, *args.fault) if plan.bench.simulation else ()
        carriers = _carriers(args, plan.bench.beside)
        carriers |= {} if plan.bench.scanner is None else {"scanner": args.bridge}
        scene = make_scene(plan, faults, carriers=carriers)
        _serve(scene, carriers, args, {}, f"{args.factor:g} simulated seconds in each real one")
    except (ValueError, OSError) as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    return EXIT_DONE


def _recorded(args: argparse.Namespace) -> int:
    from daemon.journal.read import RecordError
    from daemon.replay.recorded_bench import RecordedBench
    from drivers.errors import BadProfile
    from plans.errors import PlanError

    if args.fault:
        return refuse(
            "REFUSED: nothing can be made to break in a record; leave --fault out.", as_json=args.json
        )
    try:
        bench = RecordedBench(args.record, _tell, _seconds(args.from_time or "0:00"))
        carriers = bench.carriers = _carriers(args, bench.run.bench.beside)
        facts = {"lasted_s": bench.lasted_s, "from_s": bench.from_s}
        rest = (
            f"{hours(bench.lasted_s - bench.from_s)} of record, {args.factor:g} s of it in each real second"
        )
        _serve(bench, carriers, args, facts, rest)
    except (RecordError, PlanError, BadProfile, ValueError, OSError) as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    return EXIT_DONE


def _carriers(args: argparse.Namespace, beside: Iterable[str]) -> dict[str, str]:
    return {"source": args.source, "bridge": args.bridge, **dict.fromkeys(beside, args.beside)}


def _seconds(text: str) -> float:
    found = re.fullmatch(r"(\d{1,3}):([0-5]\d)(?::([0-5]\d))?", text)
    if found is None:
        raise ValueError(f"--from {text}: expected is a time after the start such as 5:30 or 0:02:15.")
    return 3600.0 * int(found[1]) + 60.0 * int(found[2]) + int(found[3] or 0)


def _tell(at_s: float, name: str, what: str) -> None:
    from daemon.replay.difference import since

    print(f"{since(at_s)}  {name}: {what}", file=sys.stderr, flush=True)


def _serve(
    stand: Stand, carriers: Mapping[str, str], args: argparse.Namespace, facts: dict[str, float], words: str
) -> None:
    import asyncio

    from daemon.rehearsal import served

    async def serve() -> None:
        async with served(stand, carriers, args.factor) as addresses:
            if args.json:
                say_json({"addresses": addresses, "factor": args.factor, **facts})
                sys.stdout.flush()
            else:
                print("\n".join(f"{name:<12}{address}" for name, address in addresses.items()))
                print(f"{words}; Ctrl-C ends it.", flush=True)
            await _told_to_stop()

    asyncio.run(serve())


async def _told_to_stop() -> None:
    import asyncio

    stop, loop = asyncio.Event(), asyncio.get_running_loop()
    for sign in (signal.SIGINT, signal.SIGTERM):
        with suppress(NotImplementedError):  # Windows: Ctrl-C then ends the command by itself
            loop.add_signal_handler(sign, stop.set)
    await stop.wait()
