"""`ohmvigil check PLAN`: everything that can be judged before heat, and the night as a timetable."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path

from daemon.cli import EXIT_DONE, EXIT_REFUSED
from daemon.cli.plans_given import finding_body, plan_or_refusal
from daemon.cli.say import hours, not_drawn, refuse, say, say_json
from daemon.learning.use import forecasting
from daemon.precheck import day_of_start, precheck
from daemon.timetable import Timetable, forecast, presence_at
from drivers.clock import Clock
from plans.errors import PlanError
from plans.margins import margins
from plans.run_plan import RunPlan


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("plan", type=Path, help="the run plan (TOML)")
    parser.add_argument(
        "--plot", type=Path, metavar="STEM", help="also draw the night: STEM.svg and STEM.png"
    )
    parser.add_argument(
        "--records", type=Path, help="records of this bench, for the forecast (default: where it writes them)"
    )
    parser.add_argument(
        "--learned", type=Path, help="what was learned of this bench (default: BENCH.learned.toml beside it)"
    )


def run(args: argparse.Namespace) -> int:
    """Check a plan; exit 2 when it is refused."""
    plan = plan_or_refusal(args.plan, as_json=args.json)
    if isinstance(plan, int):
        return plan
    try:
        before = forecasting(args.plan, plan, args.learned, args.records)
    except PlanError as error:
        return refuse(f"REFUSED: {error}", as_json=args.json)
    report = precheck(plan, day_of_start(plan, Clock()))
    timetable = forecast(plan, None if before is None else before.timing)
    if args.plot is not None:
        from daemon.history.night_ahead import draw_timetable

        try:
            draw_timetable(plan, timetable, args.plot)
        except OSError as error:
            return refuse(not_drawn(args.plot, error), as_json=args.json)
    if args.json:
        findings = [finding_body(finding) for finding in report.findings]
        table = asdict(timetable) | {"attended_until_s": timetable.attended_until_s}
        body = {"refused": report.refused, "findings": findings, "timetable": table}
        say_json(body | {"margins": [asdict(margin) for margin in margins(plan)]})
    else:
        _print(plan, timetable)
        if before is not None and timetable.give_or_take_s is not None:
            spread = hours(timetable.give_or_take_s)
            print(f"Forecast by this bench's own nights ({before.because}): ±{spread} in 95 of 100 nights.")
        for title, found in (
            ("REFUSED", report.refusals),
            ("CAUTION", report.cautions),
            ("CHECKED", report.infos),
        ):
            if found:
                print(f"\n{title}")
                say((f"  • {finding.text}" for finding in found), hang=4)
        print(f"\n{'REFUSED: do not heat.' if report.refused else 'This plan may be run.'}")
    return EXIT_REFUSED if report.refused else EXIT_DONE


def _print(plan: RunPlan, timetable: Timetable) -> None:
    from rich.console import Console
    from rich.table import Table

    table = Table(title=plan.plan.header.title, caption=f"in all about {hours(timetable.total_s)}")
    for column, side in (("from", "right"), ("to", "right"), ("t90", "right"), ("what", "left")):
        table.add_column(column, justify=side)  # type: ignore[arg-type]
    table.add_column("to the limit", justify="right")
    table.add_column("", justify="left")
    for row in timetable.rows:
        stay = presence_at(row)
        table.add_row(
            _clock(row.from_s),
            _clock(row.to_s),
            f"{row.temperature_c:.2f} °C",
            f"{row.label}: {row.what}",
            f"{row.margin_k:.0f} K",
            stay,
        )
    Console(highlight=False).print(table)
    print(f"Tightest limit: {timetable.tightest}. ", end="")
    print(f"Above the coolest-rated head's limit: {hours(timetable.above_head_limit_s)}.")
    stay = hours(timetable.attended_until_s)
    why = "A person is asked for until" if timetable.asked else "The first hot point is reached"
    print(f"{why} {stay} after the start: stay until then.")
    print(f"Margins to the ratings (the run: {min(plan.visited_c):g} °C to {max(plan.visited_c):g} °C):")
    for margin in margins(plan):
        print(f"  {margin.owner}: {margin.words}")


def _clock(seconds: float) -> str:
    minutes = round(seconds / 60.0)
    return f"{minutes // 60}:{minutes % 60:02d}"
