"""`ohmvigil learn RECORD…`: what past nights teach of their bench."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from daemon.cli import EXIT_DONE
from daemon.cli.say import refuse, say_json


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("records", type=Path, nargs="+", metavar="RECORD", help="nights of one bench")
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE",
        help="write it down; beside the bench file as BENCH.learned.toml it is found by check and rehearse",
    )
    parser.add_argument(
        "--plot",
        type=Path,
        metavar="STEM",
        help="draw how well the simulated source follows the last night: STEM.svg, STEM.png",
    )


def run(args: argparse.Namespace) -> int:
    """Learn and print; exit 2 when these records teach nothing or a file cannot be written."""
    from daemon.learning.learn import CannotLearn, learn
    from daemon.learning.write import as_lines, as_toml

    try:
        lesson = learn(args.records, say=lambda sentence: print(sentence, file=sys.stderr))
        learned = lesson.learned
        if args.plot is not None:
            from daemon.learning.plot import draw_learned

            draw_learned(lesson.nights[-1], learned, args.plot)
        if args.out is not None:
            args.out.write_text(as_toml(learned), encoding="utf-8")
    except CannotLearn as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    except OSError as error:
        return refuse(f"REFUSED: {error.filename}: {error.strerror}", as_json=args.json)
    if args.json:
        say_json(learned.model_dump(mode="json", by_alias=True))
    else:
        nights = len(learned.about.records)
        print(f"{learned.about.bench}, from {nights} night{'s' if nights != 1 else ''}")
        print("\n".join(f"  • {line}" for line in as_lines(learned)))
        print(f"Written to {args.out}." if args.out is not None else "Nothing written: give --out FILE.")
    return EXIT_DONE
