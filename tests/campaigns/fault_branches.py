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
from random import Random
from typing import NoReturn

from daemon.journal.journal import Journal
from daemon.journal.store import Row
from daemon.night import Bench, Night, open_instruments
from daemon.rehearsal import make_scene, simulation_of
from daemon.states import HALTED, State
from drivers.clock import Clock
from plans.run_plan import RunPlan
from simulators import virtual_time
from simulators.faults import Fault, parse_fault
from simulators.physics.noise import generator
from simulators.scene import Scene
from simulators.wire_faults import WIRE_KINDS, FaultyWire
from tests.campaigns.fault_oracle import PANEL, Case, Notes, judge
from tests.campaigns.short_nights import short_night

LONGEST_COMPUTING_S = 120.0
WATCHED_AFTER_FAULT_S = 2.5 * 3600.0
WATCHED_AFTER_HALT_S = 1.5 * 3600.0

_JUST_BEFORE_S = 1.0
_LOOKS_EVERY_S = 60.0


class _Nowhere:
    """A sink that keeps nothing: a branch must not write into the file of the night it came from."""

    fault = ""

    def put(self, row: Row) -> None:
        """Let it go."""

    async def committed(self) -> None:
        """Nothing to wait for."""

    def close(self) -> None:
        """Nothing to close."""


@dataclass
class _Stem:
    """The healthy night that all branches come from."""

    run: RunPlan
    plant: str
    scene: Scene
    notes: Notes
    wires: dict[str, list[Fault]]
    healthy_end_s: float


def branches(
    plant: str,
    faults: Iterable[str],
    healthy_end_s: float,
    *,
    longest_computing_s: float = LONGEST_COMPUTING_S,
) -> Iterator[Case]:
    """Each fault's case, in the order of their instants; faults behind the night's end are left out."""
    run = short_night(plant)
    scene = make_scene(run)
    stem = _Stem(run, plant, scene, Notes(scene, 0.0), {"source": [], "bridge": []}, healthy_end_s)
    stem.notes.spy()
    ordered = sorted(faults, key=lambda text: parse_fault(text).at_s)
    reader, writer = os.pipe()
    night = os.fork()
    if night == 0:
        os.close(reader)
        virtual_time.run(_grow(stem, ordered, longest_computing_s, writer))
        os._exit(0)
    os.close(writer)
    with os.fdopen(reader, "rb") as cases:
        while True:
            try:
                yield pickle.load(cases)
            except EOFError:
                break
    os.waitpid(night, 0)


async def _grow(stem: _Stem, faults: list[str], longest_computing_s: float, writer: int) -> None:
    """The healthy night; sends every branch's case into the pipe."""
    clock = Clock(simulation_of(stem.run).start_utc)
    wired = {
        name: FaultyWire(stem.scene.instrument(name), pending, _chance(stem, name))
        for name, pending in stem.wires.items()
    }
    bench = Bench(clock, wired, simulated=True)
    night = Night(stem.run, open_instruments(stem.run, bench))
    journal = Journal(_Nowhere(), clock)
    journal.listen(stem.notes.listen)
    driving = asyncio.create_task(night.executor(journal).run(night.procedure))
    for text in faults:
        await clock.sleep_until(parse_fault(text).at_s - _JUST_BEFORE_S)
        if driving.done():
            break
        sys.stdout.flush()
        if (branch := os.fork()) == 0:
            # A fork forgets that it runs on a loop; this child goes on with its parent's.
            asyncio._set_running_loop(driving.get_loop())
            faulthandler.dump_traceback_later(longest_computing_s, exit=True)
            await _to_the_pipe(writer, stem, text, clock, driving)
        if not _ended_well(branch):
            _send(writer, _broken(stem, text, longest_computing_s))
    driving.cancel()
    await asyncio.gather(driving, return_exceptions=True)


async def _to_the_pipe(
    writer: int, stem: _Stem, text: str, clock: Clock, driving: asyncio.Task[State]
) -> NoReturn:
    try:
        _send(writer, await _branch(stem, text, clock, driving))
    except Exception:  # noqa: BLE001  a branch that broke must not go on as its parent
        traceback.print_exc()
        os._exit(1)
    os._exit(0)


def _ended_well(branch: int) -> bool:
    return os.waitstatus_to_exitcode(os.waitpid(branch, 0)[1]) == 0


def _chance(stem: _Stem, name: str) -> Random:
    return generator(stem.scene.spec.seed, f"{name}/faults")


async def _branch(stem: _Stem, text: str, clock: Clock, driving: asyncio.Task[State]) -> Case:
    """Go on with the fault until nothing more is to come, and judge."""
    fault, notes = parse_fault(text), stem.notes
    notes.fault_s, notes.panel = fault.at_s, fault.kind == PANEL
    if fault.kind in WIRE_KINDS:
        stem.wires[fault.value].append(fault)
    stem.scene.break_later(fault)
    while not driving.done() and clock.monotonic_s() < _watched_until_s(notes):
        await asyncio.wait({driving}, timeout=_LOOKS_EVERY_S)
    case = Case(stem.plant, text)
    judge(case, stem.run, stem.scene, notes)
    case.healthy_end_s = stem.healthy_end_s
    return case


def _watched_until_s(notes: Notes) -> float:
    halted = [when_s for when_s, to in notes.changes if to in HALTED and when_s >= notes.fault_s]
    after_halt_s = halted[-1] + WATCHED_AFTER_HALT_S if halted else math.inf
    return min(notes.fault_s + WATCHED_AFTER_FAULT_S, after_halt_s)


def _broken(stem: _Stem, text: str, longest_computing_s: float) -> Case:
    said = f"did not end within {longest_computing_s:.0f} s of computing, or broke: its trace is above"
    return Case(stem.plant, text, violations=[said])


def _send(writer: int, case: Case) -> None:
    with os.fdopen(os.dup(writer), "wb") as pipe:
        pickle.dump(case, pipe)
