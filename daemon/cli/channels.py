"""`ohmvigil channels PLAN`: warm each thermometer by hand and see which channel moves, before any heat."""

from __future__ import annotations

import argparse
import asyncio
import sys
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

from daemon.channel_test import Found, channel_test, refusals
from daemon.cli import EXIT_DONE, EXIT_REFUSED
from daemon.cli.plans_given import plan_or_refusal
from daemon.cli.say import refuse, say_json
from daemon.executor.opening import bridge_of
from drivers.clock import Clock
from drivers.errors import InstrumentError
from drivers.lines import Lines
from plans.run_plan import RunPlan

_CAUTION = "Probes that look cold may be hot: wait until all have room temperature."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("plan", type=Path, help="the run plan (TOML)")
    parser.add_argument(
        "--fault",
        action="append",
        default=[],
        metavar="FAULT",
        help="simulated bench only: what is wrong with it, for example swapped-channels@0:00=2:4",
    )


def run(args: argparse.Namespace) -> int:
    """Test the channels; exit 2 when a thermometer is not where the plan says."""
    plan = plan_or_refusal(args.plan, as_json=args.json)
    if isinstance(plan, int):
        return plan
    if plan.bench.simulation is None and (args.fault or not sys.stdin.isatty()):
        why = "a person at a terminal warms the thermometers of a real bench; faults are for simulated ones."
        return refuse(f"REFUSED: {why}", as_json=args.json)
    try:
        found = (
            _simulated(plan, args.fault)
            if plan.bench.simulation is not None
            else by_hand(plan, Clock(), input)
        )
    except (InstrumentError, ValueError, OSError, EOFError) as error:
        return refuse(f"REFUSED: {error or 'nobody answered'}", as_json=args.json)
    return _told(found, as_json=args.json)


def _told(found: list[Found], *, as_json: bool) -> int:
    wrong = list(refusals(found))
    if as_json:
        rows = [asdict(one) | {"good": one.good} for one in found]
        say_json({"refused": bool(wrong), "thermometers": rows, "problems": wrong})
        return EXIT_REFUSED if wrong else EXIT_DONE
    for one in found:
        moved = f"channel {one.moved} moved" if one.moved is not None else "no single channel moved"
        print(f"{one.serial}: {moved}, by {one.rise_k:+.1f} K; planned is channel {one.planned}")
    for sentence in wrong:
        print(f"REFUSED: do not heat. {sentence}.", file=sys.stderr)
    return EXIT_REFUSED if wrong else EXIT_DONE


def _simulated(plan: RunPlan, faults: list[str]) -> list[Found]:
    from daemon.rehearsal import rehearse_channel_test

    return rehearse_channel_test(plan, faults)


def by_hand(plan: RunPlan, clock: Clock, ask: Callable[[str], str]) -> list[Found]:
    """The test at a real bench; `ask` has a person warm one. Raises InstrumentError, OSError, EOFError."""

    async def warm(serial: str) -> None:
        # Nothing else runs meanwhile: the heat source is not even opened.
        ask(f"{_CAUTION} Hold the tip of {serial} in your hand, press Enter and hold on: ")

    async def test() -> list[Found]:
        bridge = bridge_of(plan.bench, Lines(clock))
        try:
            await bridge.identify()
            return await channel_test(plan, bridge, warm)
        finally:
            await bridge.close()

    return asyncio.run(test())
