"""`ohmvigil replay --all DIR`: a laboratory's records as a regression set, with progress and one table."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from time import perf_counter

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE, EXIT_REFUSED
from daemon.cli.progress import told
from daemon.cli.say import hours, refuse, say_json
from daemon.replay.regression import Row, records_in, replay_all
from daemon.results.numbers import significant


def run_all(args: argparse.Namespace) -> int:
    """Replay every record; exit 1 when one differs, 2 when one cannot be replayed or there is none."""
    if any(given is not None for given in (args.guards, args.plan, args.report, args.go_on)):
        return refuse(
            "REFUSED: --all compares each record with itself; it takes no other option.", as_json=args.json
        )
    if not 1 <= args.processes <= 256:
        return refuse(f"REFUSED: --processes {args.processes} is not from 1 to 256.", as_json=args.json)
    if not args.all.is_dir():
        return refuse(f"REFUSED: --all {args.all}: there is no such folder.", as_json=args.json)
    records = records_in(args.all)
    if not records:
        return refuse(f"REFUSED: there is no record (*.record) in {args.all}.", as_json=args.json)
    rows, spent_s = _with_progress(records, min(args.processes, len(records)))
    if args.json:
        say_json({"took_s": round(spent_s, 1), "records": [asdict(row) | {"same": row.same} for row in rows]})
    else:
        print("\n".join([*table(rows), "", _sum(rows, spent_s)]))
    if any(row.refused for row in rows):
        return EXIT_REFUSED
    return EXIT_DONE if all(row.same for row in rows) else EXIT_BAD_OUTCOME


def table(rows: Sequence[Row]) -> list[str]:
    """One line for each record; a second one where it differs."""
    width = max(len("record"), *(len(row.record) for row in rows))
    lines = [f"{'record':<{width}}  {'lasted':>11}  {'decisions':>9}  differ  results"]
    for row in rows:
        if row.refused:
            lines.append(f"{row.record:<{width}}  NOT REPLAYED: {row.refused}")
            continue
        results = "same" if not (row.results or row.results_mk) else f"{significant(row.results_mk)} mK"
        lines.append(
            f"{row.record:<{width}}  {hours(row.lasted_s):>11}  {row.decisions:>9}  {row.differences:>6}  "
            f"{results}"
        )
        lines += [f"    {more}" for more in (row.first, row.results) if more]
    return lines


def _sum(rows: Sequence[Row], spent_s: float) -> str:
    same = sum(row.same for row in rows)
    nights_h = sum(row.lasted_s for row in rows) / 3600.0
    return f"{same} of {len(rows)} the same; {nights_h:.1f} h of record replayed in {spent_s:.0f} s."


def _with_progress(records: Sequence[Path], processes: int) -> tuple[list[Row], float]:
    """The rows, and how long they took in s."""
    began_s = perf_counter()
    with told("replaying", len(records)) as done:
        rows = replay_all(records, processes, done)
    return rows, perf_counter() - began_s
