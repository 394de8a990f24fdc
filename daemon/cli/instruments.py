"""`ohmvigil instruments list|identify|try`: what is attached, who answers, and what of it works."""

from __future__ import annotations

import argparse
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, cast

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.say import refuse, say_json

if TYPE_CHECKING:
    from drivers.conformance import Finding
    from drivers.discovery import SerialPort
    from drivers.link_events import Transcript
    from drivers.roles import HeatSource, Readout

_NO_STABLE_NAME = "no stable name: it may be another one tomorrow"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    what = parser.add_subparsers(dest="what", required=True, metavar="list|identify|try")
    listing = what.add_parser("list", help="serial ports by their stable names, profiles and plug-ins")
    listing.add_argument(
        "--visa",
        nargs="?",
        const="@py",
        choices=("@py", "@ivi"),
        help="VISA resources too; asks around on the network and takes seconds",
    )
    identify = what.add_parser(
        "identify", help="ask the identity question of a profile; nothing else is sent"
    )
    trial = what.add_parser("try", help="walk through everything a profile offers, reading first")
    trial.add_argument(
        "--writes",
        action="store_true",
        help="a heat source then gets its present set-point again and is made safe (its heater goes off)",
    )
    trial.add_argument(
        "--resistor", type=float, metavar="OHM", help="value of the standard resistor of a ratio bridge, in Ω"
    )
    for parser_of in (identify, trial):
        parser_of.add_argument("profile", help="a profile's name, a file ending in .toml, or a plug-in")
        parser_of.add_argument("address", help="tcp://HOST:PORT, serial:PORT or visa:RESOURCE")
        parser_of.add_argument(
            "--transcript",
            type=Path,
            metavar="FILE",
            help="append every byte that passes, as JSON lines",
        )
    for parser_of in (listing, identify, trial):
        parser_of.add_argument(
            "--json", action="store_true", default=argparse.SUPPRESS, help="as one JSON document"
        )


def run(args: argparse.Namespace) -> int:
    """List, identify or try; exit 2 for a bad profile or address, 1 when the instrument fails, 0 when not."""
    from drivers.errors import BadProfile

    try:
        return {"list": _list, "identify": _identify, "try": _try}[args.what](args)
    except (BadProfile, OSError) as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)


def _list(args: argparse.Namespace) -> int:
    from drivers.discovery import serial_ports, visa_resources
    from drivers.registry import plug_ins, shipped_profiles

    ports, profiles, found = serial_ports(), shipped_profiles(), plug_ins()
    resources = visa_resources(args.visa) if args.visa else None
    if args.json:
        listed = {"serial_ports": [asdict(port) for port in ports], "visa": resources, "profiles": profiles}
        say_json(listed | {"plug_ins": [asdict(one) for one in found]})
        return EXIT_DONE
    _print_group("Serial ports", [_port_line(port) for port in ports])
    if resources is not None:
        _print_group(f"VISA resources ({args.visa})", [f"visa:{resource}" for resource in resources])
    _print_group("Profiles", profiles)
    _print_group("Plug-ins", [f"{one.name}  {one.fault or 'usable'}" for one in found])
    return EXIT_DONE


def _port_line(port: SerialPort) -> str:
    doubt = f"  ({_NO_STABLE_NAME})" if port.stable == port.device else ""
    return f"serial:{port.stable}  {port.description}{doubt}"


def _print_group(title: str, lines: list[str]) -> None:
    print(f"{title}:")
    print("\n".join(f"  {line}" for line in lines or ["none"]))


def _identify(args: argparse.Namespace) -> int:
    import asyncio

    from drivers.clock import Clock
    from drivers.discovery import identify

    with _transcript(args) as transcript:
        answer = asyncio.run(identify(args.profile, args.address, Clock(), transcript))
    if args.json:
        say_json(asdict(answer))
    else:
        print(answer.fault or f"{args.address}: {answer.identity}")
    return EXIT_BAD_OUTCOME if answer.fault else EXIT_DONE


def _try(args: argparse.Namespace) -> int:
    import asyncio

    with _transcript(args) as transcript:
        findings = asyncio.run(_walk(args, transcript))
    good = sum(finding.holds for finding in findings)
    if args.json:
        say_json({"all_hold": good == len(findings), "findings": [asdict(finding) for finding in findings]})
    else:
        print(f"{good} of {len(findings)} work.")
    return EXIT_DONE if good == len(findings) else EXIT_BAD_OUTCOME


@contextmanager
def _transcript(args: argparse.Namespace) -> Iterator[Transcript | None]:
    from drivers.clock import Clock
    from drivers.transcript import written_to

    if args.transcript is None:
        yield None
        return
    with written_to(args.transcript, Clock()) as transcript:
        yield transcript


async def _walk(args: argparse.Namespace, transcript: Transcript | None) -> list[Finding]:
    findings = []
    async for finding in _trial(args, transcript):
        findings.append(finding)
        if not args.json:
            print(f"{'works' if finding.holds else 'FAILS'}  {finding.law}: {finding.seen}", flush=True)
    return findings


async def _trial(args: argparse.Namespace, transcript: Transcript | None) -> AsyncIterator[Finding]:
    from drivers.clock import Clock
    from drivers.conformance import try_bridge, try_heat_source, try_monitor, try_scanner
    from drivers.discovery import everything_of, is_bridge, is_scanner, open_any

    instrument = open_any(args.profile, args.address, Clock(), args.resistor, transcript)
    if is_bridge(instrument):
        trial = try_bridge(instrument)
    elif is_scanner(instrument):
        trial = try_scanner(instrument)
    elif (ask := everything_of(instrument)) is not None:
        trial = try_monitor(cast("Readout", instrument), ask)
    else:
        trial = try_heat_source(cast("HeatSource", instrument), writes=args.writes)
    try:
        async for finding in trial:
            yield finding
    finally:
        await instrument.close()
