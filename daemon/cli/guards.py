"""`ohmvigil guards`: every guard with its figures, reaction and reason, straight from the code."""

from __future__ import annotations

import argparse

from daemon.cli import EXIT_DONE
from daemon.cli.say import say_json
from daemon.guards.catalogue import GUARDS, describe


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """This command has no options of its own."""


def run(args: argparse.Namespace) -> int:
    """List the guards."""
    described = [describe(guard) for guard in GUARDS]
    if args.json:
        say_json(described)
        return EXIT_DONE
    for one in described:
        latch = "latched until a person acknowledges" if one["latched"] else "clears by itself"
        print(f"{one['name']}: {one['hazard']}")
        print(f"    reaction  {one['reaction']}, {latch}")
        for key, figure in one["thresholds"].items():
            default, unit, stricter = figure["default"], figure["unit"], figure["stricter"]
            print(f"    figure    {key} = {default:g} {unit} (stricter: {stricter})")
        print(f"    why       {one['why']} ({one['source']})\n")
    return EXIT_DONE
