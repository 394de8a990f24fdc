"""`ohmvigil guards`: every check before heat and every guard during it, straight from the code."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from typing import Any

from daemon.cli import EXIT_DONE
from daemon.cli.say import say_json
from daemon.guards.catalogue import GUARDS, describe
from daemon.precheck.catalogue import CHECKS

UNSHELVED = "No guard can be shelved or switched off: by nobody, for no time, before or during a run."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("--markdown", action="store_true", help="as the tables of daemon/guards/guards.md")


def run(args: argparse.Namespace) -> int:
    """List the checks and the guards."""
    checks = [check.described() for check in CHECKS]
    guards = [describe(guard) for guard in GUARDS]
    if args.json:
        say_json({"before_heat": checks, "guards": guards})
    elif args.markdown:
        print(markdown())
    else:
        print(f"BEFORE HEAT: {len(checks)} checks; `check PLAN` makes them, and so does every start\n")
        for one in checks:
            _print(
                one, one["reaction"], [f"{k} = {f['value']:g} {f['unit']}" for k, f in one["figures"].items()]
            )
        print(f"DURING THE RUN: {len(guards)} guards. {UNSHELVED}\n")
        for one in guards:
            latch = "latched until a person acknowledges" if one["latched"] else "clears by itself"
            _print(one, f"{one['reaction']}, {latch}", _thresholds(one))
    return EXIT_DONE


def _print(one: Mapping[str, Any], reaction: str, figures: list[str]) -> None:
    print(f"{one['name']}: {one['hazard']}")
    print(f"    reads     {one['reads']}")
    print(f"    reaction  {reaction}")
    for figure in figures:
        print(f"    figure    {figure}")
    print(f"    why       {one['why']} ({one['source']})\n")


def _thresholds(one: Mapping[str, Any]) -> list[str]:
    return [
        f"{key} = {figure['default']:g} {figure['unit']} (stricter: {figure['stricter']})"
        for key, figure in one["thresholds"].items()
    ]


def markdown() -> str:
    """Both lists as one document."""
    lines = [
        "# Checks and guards",
        "",
        "Written by `ohmvigil guards --markdown`; a test compares it with the code.",
        "",
        "## Before heat",
        "",
        "| check | hazard | reads | figures | reaction | why | source |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for one in (check.described() for check in CHECKS):
        figures = "; ".join(f"{key} {f['value']:g} {f['unit']}" for key, f in one["figures"].items())
        cells = (
            one["name"],
            one["hazard"],
            one["reads"],
            figures,
            one["reaction"],
            one["why"],
            one["source"],
        )
        lines.append(f"| {' | '.join(cells)} |")
    lines += [
        "",
        "## During the run",
        "",
        f"A plan may move a figure only in its stricter direction. {UNSHELVED}",
        "",
        "| guard | hazard | reads | figures | reaction | latched | why | source |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for one in map(describe, GUARDS):
        figures, latched = "; ".join(_thresholds(one)), "yes" if one["latched"] else "no"
        first = (one["name"], one["hazard"], one["reads"], figures, one["reaction"])
        lines.append(f"| {' | '.join((*first, latched, one['why'], one['source']))} |")
    return "\n".join(lines)
