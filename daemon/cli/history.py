"""`ohmvigil history PROBE`: every run of a thermometer in a folder of records, as text and as a plot."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.progress import told
from daemon.cli.say import in_words, not_drawn, refuse, say_json
from daemon.fitting.characteristic import Characteristic
from daemon.history.check_standard import charted
from daemon.history.past import Past, records_of, runs_in
from daemon.history.since_last import compared
from daemon.history.visits import Visit
from daemon.history.words import history_lines
from daemon.results.dcc.quantity import DccError
from daemon.results.dcc.read import characteristic_from_dcc


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("probe", help="serial of the thermometer: item, check standard or reference")
    parser.add_argument(
        "--records", type=Path, default=Path("records"), help="folder of records (default: records)"
    )
    parser.add_argument("--plot", type=Path, metavar="STEM", help="also write STEM.svg and STEM.png")
    parser.add_argument(
        "--dcc", type=Path, metavar="XML", help="hold every run against this digital certificate of the probe"
    )
    parser.add_argument("--simulated", action="store_true", help="count simulated runs too")


def run(args: argparse.Namespace) -> int:
    """Print a history; exit 2 when there is none, 1 when its runs are suspect or a record cannot be read."""
    if not args.records.is_dir():
        return refuse(f"REFUSED: {args.records} is not a folder of records.", as_json=args.json)
    try:
        certificate = _certificate(args)
        with told("reading", len(records_of(args.records))) as done:
            past = runs_in(args.records, args.probe, done)
    except (DccError, OSError) as error:
        return refuse(f"REFUSED: {in_words(error)}", as_json=args.json)
    found = past.of(args.probe)
    counted = [visit for visit in found if args.simulated or not visit.simulated]
    if not counted:
        left = f" ({len(found)} simulated ones: add --simulated)" if found else ""
        message = f"REFUSED: no run of {args.probe} among the records in {args.records}{left}."
        return refuse(message, as_json=args.json)
    chart = charted(counted)[1]
    if args.json:
        say_json(_plain(args.probe, counted, certificate, past))
    else:
        print("\n".join(history_lines(args.probe, counted, certificate)))
        for one in past.unread:
            print(f"not counted: {one.record}: {one.reason}")
    if args.plot is not None:
        from daemon.history.plot import draw_history

        try:
            paths = draw_history(args.probe, counted, args.plot)
        except OSError as error:
            return refuse(not_drawn(args.plot, error), as_json=args.json)
        if not args.json:
            print(f"plot  {paths[0]}")
    return EXIT_BAD_OUTCOME if past.unread or chart.suspect_since is not None else EXIT_DONE


def _certificate(args: argparse.Namespace) -> Characteristic | None:
    return None if args.dcc is None else characteristic_from_dcc(args.dcc, args.probe)


def _plain(
    probe: str, found: Sequence[Visit], certificate: Characteristic | None, past: Past
) -> dict[str, object]:
    chart = charted(found)[1]
    limits = None if chart.baseline < 2 else {"mean_mk": chart.mean, "s_mk": chart.s, "runs": chart.baseline}
    return {
        "probe": probe,
        "runs": [_run(found[: place + 1], certificate) for place in range(len(found))],
        "chart": {"limits": limits, "marks": chart.marks, "suspect_since": chart.suspect_since},
        "unreadable": [asdict(one) for one in past.unread],
    }


def _run(visits: Sequence[Visit], certificate: Characteristic | None) -> dict[str, object]:
    visit, since = visits[-1], compared(visits)
    apart_mk = None if certificate is None else visit.apart_mk(certificate)
    told = None if since is None else asdict(since) | {"last": since.last.isoformat()}
    return asdict(visit) | {
        "opened": visit.opened.isoformat(),
        "from_certificate_mk": apart_mk,
        "since_last": told,
    }
