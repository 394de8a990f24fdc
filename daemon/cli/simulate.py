"""`ohmvigil simulate PLAN`: the simulated instruments of its bench on sockets and pseudo-terminals."""

from __future__ import annotations

import argparse
import signal
import sys
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.cli import EXIT_DONE
from daemon.cli.plans_given import plan_or_refusal
from daemon.cli.say import refuse, say_json

if TYPE_CHECKING:
    from daemon.rehearsal import Scene

_CARRIERS = ("tcp", "pty")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    from daemon.rehearsal import describe_kinds

    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = f"Faults: KIND@H:MM[:SS][=VALUE][/SECONDS]\n\n{describe_kinds()}"
    parser.add_argument("plan", type=Path, help="a run plan (TOML) on a simulated bench")
    parser.add_argument("--source", choices=_CARRIERS, default="tcp", help="what carries the heat source")
    parser.add_argument("--bridge", choices=_CARRIERS, default="tcp", help="what carries the bridge")
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
    """Serve until Ctrl-C; exit 2 for a plan that cannot be used, a real bench or a bad fault."""
    import asyncio

    from daemon.rehearsal import make_scene

    plan = plan_or_refusal(args.plan, as_json=args.json)
    if isinstance(plan, int):
        return plan
    try:
        faults = (*plan.bench.simulation.faults, *args.fault) if plan.bench.simulation else ()
        carriers = {"source": args.source, "bridge": args.bridge}
        carriers |= dict.fromkeys(plan.bench.beside, args.beside)
        scene = make_scene(plan, faults, carriers=carriers)
        asyncio.run(_serve(scene, carriers, args))
    except (ValueError, OSError) as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    return EXIT_DONE


async def _serve(scene: Scene, carriers: Mapping[str, str], args: argparse.Namespace) -> None:
    from daemon.rehearsal import served

    async with served(scene, carriers, args.factor) as addresses:
        if args.json:
            say_json({"addresses": addresses, "factor": args.factor})
            sys.stdout.flush()
        else:
            print("\n".join(f"{name:<12}{address}" for name, address in addresses.items()))
            print(f"{args.factor:g} simulated seconds in each real one; Ctrl-C ends it.", flush=True)
        await _told_to_stop()


async def _told_to_stop() -> None:
    import asyncio

    stop, loop = asyncio.Event(), asyncio.get_running_loop()
    for sign in (signal.SIGINT, signal.SIGTERM):
        with suppress(NotImplementedError):  # Windows: Ctrl-C then ends the command by itself
            loop.add_signal_handler(sign, stop.set)
    await stop.wait()
