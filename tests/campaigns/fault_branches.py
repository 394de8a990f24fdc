"""One healthy night that branches: at each fault's instant a child process goes on with that fault.

What went before the fault is then simulated once for all cases of a plant. A branch that computes
longer than its limit prints where it hangs and counts as a violation.
"""

from __future__ import annotations

import asyncio
import faulthandler
import math
import os
import pickle
import sys
import traceback
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import NoReturn

from daemon.states import HALTED, State
from simulators import virtual_time
from simulators.faults import parse_fault
from tests.campaigns.fault_cases import late
from tests.campaigns.fault_oracle import Case, Notes, judge
from tests.campaigns.live_night import LiveNight, live_night

LONGEST_COMPUTING_S = 600.0
WATCHED_AFTER_FAULT_S = 2.5 * 3600.0
WATCHED_AFTER_HALT_S = 1.5 * 3600.0

_JUST_BEFORE_S = 1.0
_LOOKS_EVERY_S = 60.0


@dataclass(frozen=True, slots=True)
class Limits:
    """When the healthy night begins to park, and how long one branch may compute; both in s."""

    healthy_end_s: float
    computing_s: float


def branches(
    plant: str,
    faults: Iterable[str],
    healthy_end_s: float,
    *,
    longest_computing_s: float = LONGEST_COMPUTING_S,
) -> Iterator[Case]:
    """Each fault's case, in the order of their instants; faults behind the night's end are left out."""
    stem = live_night(plant)
    ordered = sorted(faults, key=lambda text: parse_fault(text).at_s)
    reader, writer = os.pipe()
    night = os.fork()
    if night == 0:
        os.close(reader)
        virtual_time.run(_grow(stem, ordered, Limits(healthy_end_s, longest_computing_s), writer))
        os._exit(0)
    os.close(writer)
    with os.fdopen(reader, "rb") as cases:
        while True:
            try:
                yield pickle.load(cases)
            except EOFError:
                break
    os.waitpid(night, 0)


async def _grow(stem: LiveNight, faults: list[str], limits: Limits, writer: int) -> None:
    """The healthy night; sends every branch's case into the pipe."""
    executor, procedure = stem.open()
    driving = asyncio.create_task(executor.run(procedure))
    for text in faults:
        await stem.clock.sleep_until(parse_fault(text).at_s - _JUST_BEFORE_S)
        if driving.done():
            break
        sys.stdout.flush()
        if (branch := os.fork()) == 0:
            # A fork forgets that it runs on a loop; this child goes on with its parent's.
            asyncio._set_running_loop(driving.get_loop())
            faulthandler.dump_traceback_later(limits.computing_s, exit=True)
            await _to_the_pipe(writer, stem, text, limits, driving)
        if not _ended_well(branch):
            _send(writer, _broken(stem, text, limits))
    driving.cancel()
    await asyncio.gather(driving, return_exceptions=True)


async def _to_the_pipe(
    writer: int, stem: LiveNight, text: str, limits: Limits, driving: asyncio.Task[State]
) -> NoReturn:
    try:
        _send(writer, await _branch(stem, text, limits, driving))
    except Exception:  # noqa: BLE001  a branch that broke must not go on as its parent
        traceback.print_exc()
        os._exit(1)
    os._exit(0)


def _ended_well(branch: int) -> bool:
    return os.waitstatus_to_exitcode(os.waitpid(branch, 0)[1]) == 0


async def _branch(stem: LiveNight, text: str, limits: Limits, driving: asyncio.Task[State]) -> Case:
    """Go on with the fault until nothing more is to come, and judge."""
    fault, notes = parse_fault(text), stem.notes
    notes.fault_s = fault.at_s
    stem.break_later(fault)
    while not driving.done() and stem.clock.monotonic_s() < _watched_until_s(notes):
        await asyncio.wait({driving}, timeout=_LOOKS_EVERY_S)
    case = Case(stem.plant, text)
    judge(case, stem.run, stem.scene, notes)
    case.healthy_end_s = limits.healthy_end_s
    lasted_s = stem.clock.monotonic_s() - fault.at_s
    case.violations += filter(None, [late(fault, case.first_s, lasted_s)])
    return case


def _watched_until_s(notes: Notes) -> float:
    halted = [when_s for when_s, to in notes.changes if to in HALTED and when_s >= notes.fault_s]
    after_halt_s = halted[-1] + WATCHED_AFTER_HALT_S if halted else math.inf
    return min(notes.fault_s + WATCHED_AFTER_FAULT_S, after_halt_s)


def _broken(stem: LiveNight, text: str, limits: Limits) -> Case:
    said = f"did not end within {limits.computing_s:.0f} s of computing, or broke: its trace is above"
    return Case(stem.plant, text, violations=[said])


def _send(writer: int, case: Case) -> None:
    with os.fdopen(os.dup(writer), "wb") as pipe:
        pickle.dump(case, pipe)
