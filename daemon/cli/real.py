"""Running on a real bench: a person at the bench confirms, the guardian is drilled, then the night runs."""

from __future__ import annotations

import argparse
import asyncio
import getpass
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from daemon.arming import NotArmed, arming
from daemon.cli.answering import heard_at
from daemon.cli.ending import finish, not_whole
from daemon.cli.live import LiveView
from daemon.cli.say import refuse, say
from daemon.cli.telling import CannotTell, telling
from daemon.computer import computer_problem
from daemon.guardian.keeper import GuardianFailed, Keeper, spawned
from daemon.guardian.path import guardian_path, orders_of
from daemon.journal.sinks import StorageFault
from daemon.memory import settle_memory
from daemon.night import Bench, Outcome, resume_night, run_night
from daemon.timetable import forecast
from drivers.clock import Clock
from drivers.errors import InstrumentError
from plans.run_plan import RunPlan

Ask = Callable[[str], str]

OPENING = """\
ohmvigil is not a safety system. Follow local codes, the fluid's safety data sheet and your safety
office; wiring, cut-outs, gas and refrigerant work belong to licensed people.
"""
ATTENDED = "I stay at the bench until it is parked and switch it off by hand when anything fails"


def run_real(plan: RunPlan, record: Path, args: argparse.Namespace) -> int:
    """Ask the person at the bench, drill the guardian, then run; exit 2 when anything is not confirmed."""
    if getattr(args, "yes", False):
        return refuse("REFUSED: --yes is for simulated benches; here a person confirms.", as_json=args.json)
    if not sys.stdin.isatty():
        return refuse(
            "REFUSED: heat on a real bench is started by a person at its terminal, who confirms its state.",
            as_json=args.json,
        )
    problem = computer_problem(record.parent, Clock().utc_s())
    if problem:
        return refuse(f"REFUSED: {problem}.", as_json=args.json)
    try:
        said, keeper = armed_by_a_person(plan, record, input, getpass.getuser())
    except NotArmed as error:
        return refuse(f"REFUSED: nothing was switched on. {error}.", as_json=args.json)
    bench = Bench(Clock(), {}, False, heart=keeper, said=said)
    try:
        return _run(plan, record, bench, args)
    except CannotTell as error:
        if keeper is not None:
            keeper.disarm()
        return refuse(f"REFUSED: nothing was heated. {error}", as_json=args.json)


def _broke_off(record: Path, error: Exception) -> str:
    """What an error of the run means: before its record there was no heat, later the guardian parks."""
    if not record.exists():
        return f"REFUSED: nothing was heated. {error}"
    return f"THE RUN BROKE OFF: {error}. Go to the bench and look; a guardian, if there is one, parks it."


def resume_real(
    plan: RunPlan, record: Path, gap_s: float, view: LiveView, *, attended: bool, forbidden: str
) -> Outcome:
    """Go on with an interrupted run on a real bench; raises CannotResume, InstrumentError.

    Its guardian is not drilled: the source may be hot. Whoever stays (`attended`) types words as in a run.
    """
    try:
        keeper = Keeper(orders_of(plan, record), spawned) if guardian_path(plan) is None else None
    except GuardianFailed as error:
        raise InstrumentError(str(error)) from error
    bench = _heard(Bench(Clock(), {}, False, [view], heart=keeper), attended=attended)
    settle_memory()
    return asyncio.run(resume_night(plan, record, bench, gap_s, forbidden))


def armed_by_a_person(
    plan: RunPlan, record: Path, ask: Ask, account: str
) -> tuple[Sequence[Mapping[str, object]], Keeper | None]:
    """The record's entries of the arming, and a drilled guardian (None: attended); raises NotArmed."""
    print(OPENING)
    who, clock, checklist = ask("Your name: ").strip() or account, Clock(), arming(plan)
    keeper, why_not = _drilled(plan, record)
    attended: list[Mapping[str, object]] = []
    try:
        if keeper is None:
            attended = [_attended(ask, why_not, who)]
        for item in checklist.items:
            if item.caution:
                say([f"  CAUTION  {item.caution}"], hang=11)
            if not _yes(ask, item.sentence):
                raise NotArmed(f"not confirmed: {item.sentence}")
            checklist.confirm(item.key, who, clock.utc_s())
        return [*checklist.entries(clock.utc_s()), *attended], keeper
    except (NotArmed, KeyboardInterrupt, EOFError) as error:
        if keeper is not None:
            keeper.disarm()
        raise error if isinstance(error, NotArmed) else NotArmed("the arming was broken off") from error


def _drilled(plan: RunPlan, record: Path) -> tuple[Keeper | None, str]:
    """A guardian that has parked the cold source once, or why there is none."""
    why_not = guardian_path(plan)
    if why_not is not None:
        return None, why_not
    heater = "heater off, " if plan.parked_heater == "off" else ""
    print(f"The guardian now parks the source once: {heater}set-point {plan.parking_c:g} °C.")
    try:
        keeper = Keeper(orders_of(plan, record), spawned)
    except GuardianFailed as error:
        return None, str(error)
    try:
        took_s = keeper.drill()
    except GuardianFailed as error:
        keeper.disarm()
        return None, str(error)
    print(f"Parked and read back in {took_s:.1f} s.\n")
    return keeper, ""


def _attended(ask: Ask, why_not: str, who: str) -> Mapping[str, object]:
    """Without a guardian nobody parks the source when this program dies: only a person who stays may."""
    print(f"  CAUTION  No guardian: {why_not}.\n           This source must not be left alone.")
    if not _yes(ask, ATTENDED):
        raise NotArmed(f"unattended heat needs a guardian, and there is none: {why_not}")
    return {"word": "attended", "who": who, "reason": f"{ATTENDED}; no guardian: {why_not}"}


def _yes(ask: Ask, sentence: str) -> bool:
    return ask(f"{sentence}. Type yes: ").strip().lower() == "yes"


def _heard(bench: Bench, *, attended: bool) -> Bench:
    return replace(bench, hand_over=heard_at(sys.stdin, getpass.getuser())) if attended else bench


def _run(plan: RunPlan, record: Path, bench: Bench, args: argparse.Namespace) -> int:
    with (
        telling(args.mqtt, plan, record) as listeners,
        LiveView(forecast(plan), quiet=args.json) as view,
    ):
        listening = _heard(replace(bench, listeners=[view, *listeners]), attended=args.attended)
        settle_memory()
        try:
            outcome = asyncio.run(run_night(plan, record, listening))
        except StorageFault as error:
            return not_whole(error, as_json=args.json)
        except (InstrumentError, GuardianFailed, OSError) as error:
            return refuse(_broke_off(record, error), as_json=args.json)
        except KeyboardInterrupt:
            if bench.heart is not None:
                print("\nStopped without an end: the guardian now parks the source.", file=sys.stderr)
            raise
    return finish(outcome, args)
