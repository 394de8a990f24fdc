"""`ohmvigil certificate RECORD`: drafts for review, or with --authorise what a person answers for."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.say import in_words, refuse, say_json
from daemon.fitting.errors import FittingError
from daemon.journal.read import RecordError
from plans.errors import PlanError

if TYPE_CHECKING:
    from daemon.results.certificate.facts import Evaluated
    from daemon.results.certificate.issue import Certificate
    from daemon.results.certificate.papers import Papers


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("record", type=Path, help="the record file")
    parser.add_argument(
        "--probe", metavar="SERIAL", help="one thermometer (default: every item with a result)"
    )
    parser.add_argument(
        "--laboratory", type=Path, metavar="FILE", help="laboratory file: name, signatories, logo"
    )
    parser.add_argument("--order", type=Path, metavar="FILE", help="order file: customer, items, conformity")
    parser.add_argument(
        "--to", type=Path, metavar="DIR", help="folder to write into (default: beside the record)"
    )
    parser.add_argument("--step-k", type=float, metavar="K", help="step of the interpolation table")
    parser.add_argument(
        "--authorise", metavar="ID", help="issue it: id of a signatory of the laboratory file"
    )
    parser.add_argument(
        "--dcc-schema", type=Path, metavar="DIR", help="validate the XML by the schema files here"
    )


def run(args: argparse.Namespace) -> int:
    """Draw or issue; exit 1 when a thermometer has no result or bytes differ, 2 when nothing may be drawn."""
    from daemon.results.certificate.facts import NoCertificate, evaluate
    from daemon.results.certificate.typeset import TemplateError
    from daemon.results.dcc.quantity import DccError
    from daemon.review.sign import NotSigned

    wrong = (
        NoCertificate,
        TemplateError,
        DccError,
        NotSigned,
        RecordError,
        PlanError,
        FittingError,
        OSError,
    )
    try:
        evaluated = evaluate(args.record)
        without = _without(evaluated, args)
        drawn = list(_certificates(args, evaluated))
        paths = [_path(args, one) for one in drawn]
    except wrong as error:
        return refuse(f"REFUSED: {in_words(error)}", as_json=args.json)
    _told(drawn, paths, without, args)
    return EXIT_BAD_OUTCOME if without or not all(one.as_signed for one in drawn) else EXIT_DONE


def _certificates(args: argparse.Namespace, evaluated: Evaluated) -> Iterator[Certificate]:
    """One by one, each written at once: what was signed must lie there even if the next one fails."""
    from daemon.results.certificate.facts import certifiable
    from daemon.results.certificate.papers import read_papers

    papers = read_papers(args.laboratory, args.order)
    for serial in certifiable(evaluated.night) if args.probe is None else [args.probe]:
        one = _one(args, evaluated, papers, serial)
        path = _path(args, one)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(one.drawn.pdf)
        path.with_suffix(".xml").write_bytes(one.drawn.dcc)
        yield one


def _without(evaluated: Evaluated, args: argparse.Namespace) -> list[str]:
    return [
        f"{item.serial}: no certificate without a result; {item.problem or 'nothing was measured'}"
        for item in evaluated.night.items
        if args.probe is None and item.role == "item" and item.characteristic is None
    ]


def _one(args: argparse.Namespace, evaluated: Evaluated, papers: Papers, serial: str) -> Certificate:
    from daemon.results.certificate import issue
    from daemon.review.desk import DeskClock

    schema = args.dcc_schema or papers.dcc_schema
    if args.authorise is not None:
        return issue.authorise(args.record, DeskClock(), args.authorise, serial, papers, schema, args.step_k)
    standing = issue.standing(evaluated.night.review, serial)
    if standing is None:
        return issue.draft(evaluated, serial, papers, schema, args.step_k)
    folder = args.laboratory.parent if args.laboratory is not None else None
    return issue.redraw(args.record, standing, folder, schema)


def _path(args: argparse.Namespace, one: Certificate) -> Path:
    """What is not as it was signed never takes the place of what was."""
    folder: Path = args.to or args.record.with_suffix(".certificates")
    other = "" if one.as_signed else "-NOT-AS-AUTHORISED"
    return folder / f"{one.stem.replace('/', '_')}{other}.pdf"


def _told(
    drawn: Sequence[Certificate], paths: Sequence[Path], without: Sequence[str], args: argparse.Namespace
) -> None:
    if args.json:
        rows = [
            {"serial": one.serial, "standing": one.standing, "pdf": str(path), "replaced": one.drawn.replaced}
            for one, path in zip(drawn, paths, strict=True)
        ]
        say_json({"certificates": rows, "without": list(without)})
        return
    for one, path in zip(drawn, paths, strict=True):
        print(f"{one.serial}: {one.standing}\n  {path}\n  {path.with_suffix('.xml')}")
        if one.drawn.replaced:
            print(f"  the font has no {' '.join(one.drawn.replaced)}: printed as a box, write it otherwise")
    for sentence in without:
        print(sentence)
