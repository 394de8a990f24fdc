"""`ohmvigil plan`: a commented plan from a few answers, fitted to every rating, checked before written."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from daemon.assistant.answers import Answers, CannotPlan
from daemon.assistant.write import write_plan
from daemon.cli import EXIT_DONE
from daemon.cli.say import refuse, say_json
from daemon.precheck import day_of_start, precheck
from drivers.clock import Clock
from plans.errors import PlanError
from plans.loading import load_bench, load_register, parse_plan, read_bench
from plans.plan import MOST_POINTS
from plans.run_plan import Names


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command; what is left out is asked for at a terminal."""
    parser.add_argument("--bench", type=Path, help="the bench file")
    parser.add_argument("--register", type=Path, help="the register, in the same folder as the bench file")
    parser.add_argument("--reference", help="serial of the reference")
    parser.add_argument("--items", nargs="+", metavar="SERIAL", help="thermometers to calibrate")
    parser.add_argument("--check-standard", metavar="SERIAL", help="a check standard, if there is one")
    parser.add_argument("--from-c", type=float, metavar="C", help="lowest temperature wanted")
    parser.add_argument("--to-c", type=float, metavar="C", help="highest temperature wanted")
    parser.add_argument(
        "--points",
        type=int,
        default=0,
        help=f"temperatures wanted at least, up to {MOST_POINTS} (default: enough)",
    )
    parser.add_argument("--title", default="A comparison calibration", help="title of the run")
    parser.add_argument("--to", type=Path, help="file to write, in the bench's folder (default: print it)")


def run(args: argparse.Namespace) -> int:
    """Make a plan; exit 2 when none can be made of the answers."""
    try:
        _ask(args)
        bench, register = load_bench(args.bench), load_register(args.register)
        text = write_plan(_answers(args), bench, register)
        read = (read_bench(args.bench), args.register.read_text("utf-8"))
        made = parse_plan(text, *read, Names("plan", args.bench.name, args.register.name))
        report = precheck(made, day_of_start(made, Clock()))
    except (CannotPlan, PlanError, OSError) as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    if report.refused:
        sentences = "\n".join(f"  {finding.text}" for finding in report.refusals)
        return refuse(f"REFUSED: no plan fits, because\n{sentences}", as_json=args.json)
    return _written(text, args)


def _written(text: str, args: argparse.Namespace) -> int:
    if args.to is not None:
        if args.to.resolve().parent != args.bench.resolve().parent:
            return refuse(
                f"REFUSED: write it beside {args.bench}: a plan finds its bench there.", as_json=args.json
            )
        try:
            with args.to.open("x", encoding="utf-8", newline="\n") as file:
                file.write(text)
        except OSError as error:
            return refuse(
                f"REFUSED: {args.to}: {(error.strerror or 'cannot be written').lower()}.", as_json=args.json
            )
    if args.json:
        say_json({"plan": text, "written": None if args.to is None else str(args.to)})
    else:
        print(text if args.to is None else f"written  {args.to}\nnext     ohmvigil check {args.to}", end="\n")
    return EXIT_DONE


def _answers(args: argparse.Namespace) -> Answers:
    return Answers(
        args.title,
        args.bench.name,
        args.register.name,
        args.reference,
        tuple(args.items),
        args.check_standard,
        args.from_c,
        args.to_c,
        args.points,
    )


def _ask(args: argparse.Namespace) -> None:
    """Ask at a terminal for what was not given; raises CannotPlan where nobody can be asked or answers."""
    if not 0 <= args.points <= MOST_POINTS:
        raise CannotPlan(f"--points {args.points}: a plan has up to {MOST_POINTS} points; 0 means enough.")
    for name, question in (
        ("bench", "bench file"),
        ("register", "register file"),
        ("reference", "serial of the reference"),
        ("items", "serials to calibrate, with spaces between"),
        ("from_c", "lowest temperature in °C"),
        ("to_c", "highest temperature in °C"),
    ):
        if getattr(args, name) is None:
            setattr(args, name, _answer(name, question))


def _answer(name: str, question: str) -> Path | list[str] | float | str:
    if not sys.stdin.isatty():
        raise CannotPlan(f"--{name.replace('_', '-')} is missing ({question}).")
    try:
        words = input(f"{question}: ").strip()
    except EOFError:
        raise CannotPlan(f"no answer was given for the {question}.") from None
    if name in ("bench", "register"):
        return Path(words)
    if name == "items":
        return words.split()
    if not name.endswith("_c"):
        return words
    try:
        return float(words)
    except ValueError:
        raise CannotPlan(f"{words!r} is not a temperature in °C.") from None
