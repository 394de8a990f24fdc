"""A replay that goes on where it parted from the record: on a simulated bench fitted to that very record."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from daemon.actions import Action
from daemon.feed import command_of
from daemon.journal.entry import Entry, Kind
from daemon.journal.read import read_entries
from daemon.learning.learn import CannotLearn, learn
from daemon.learning.twin_bench import beside_the_record
from daemon.rehearsal import Start, bench_as_left, in_simulated_time, simulation_of
from daemon.replay.replay import Replay, Replayed
from daemon.results.phases import Phases, PointPath
from drivers.errors import InstrumentError
from plans.learned import Learned
from plans.run_plan import RunPlan

LONGEST_S = 36 * 3600.0
"""A continued run that has not ended by then waits for a person."""

_SETTLES = 50


class CannotContinue(Exception):
    """No simulated bench can go on with this record; the message is for the person at the bench."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a guard said, and when in s after the record's first entry."""

    since_start_s: float
    guard: str
    reaction: str
    channel: int


@dataclass(frozen=True)
class Course:
    """How a night went: its last state, when that was reached, its points and what its guards said."""

    state: str
    ended_s: float
    points: tuple[PointPath, ...]
    verdicts: tuple[Verdict, ...]


@dataclass(frozen=True)
class Continued:
    """The recorded course, and the one that is recorded up to `from_s` and simulated behind it.

    Times in s after the record's first entry. `fitted`: the factors on the simulated source, `unfitted` why
    there are none; `step_k`: how far the simulated display stood from the recorded one at that moment; `over`
    is False when the run did not come to its end within LONGEST_S.
    """

    from_s: float
    recorded: Course
    simulated: Course
    fitted: dict[str, float]
    unfitted: str
    step_k: float | None
    over: bool


def replay_and_continue(
    record: Path, run: RunPlan, say: Callable[[str], None] = lambda sentence: None
) -> tuple[Replayed, Continued | None]:
    """Replay, and where the run parts go on with it on simulated instruments; None where it does not part.

    Raises RecordError, BadProfile, CannotContinue.
    """
    learned, unfitted = _lesson(record, say)
    twin = beside_the_record(run, learned)
    over = True

    async def go_on(replay: Replay) -> None:
        nonlocal over
        for _ in range(_SETTLES):  # what it had in hand when it parted
            await asyncio.sleep(0)
        past = _Past(record, twin, replay.journal.differences[-1].seq)
        until_s = replay.clock.utc_s() - past.zero_s
        live = await bench_as_left(twin, past.commands, until_s, past.start, replay.clock)
        try:
            over = await replay.go_live(live, LONGEST_S)
        finally:
            await live.close()

    replay = Replay(run, read_entries(record), go_on)
    try:
        found = in_simulated_time(replay.go())
    except (InstrumentError, ValueError) as error:
        raise CannotContinue(f"{record}: no simulated bench can go on with it: {error}") from error
    parted = found.parted
    if parted is None:
        return found, None
    entries = list(_before(record, parted.seq))
    start_s = entries[0].when_s
    simulated = course([*entries, *replay.journal.own], start_s)
    fitted: dict[str, float] = {}
    if learned is not None:
        fitted |= {part: figure.value for part, figure in learned.response.items()}
    step_k = _step_k(entries, replay.journal.own)
    recorded = course(read_entries(record), start_s)
    return found, Continued(parted.since_start_s, recorded, simulated, fitted, unfitted, step_k, over)


def course(entries: Iterable[Entry], start_s: float) -> Course:
    """What became of a run; times in s after `start_s`."""
    phases, verdicts, ended_s = Phases(), [], 0.0
    for entry in entries:
        since_s = entry.when_s - start_s
        phases.take(entry, since_s)
        if entry.kind == Kind.STATE:
            ended_s = since_s
        elif entry.kind == Kind.VERDICT:
            body = entry.body
            verdicts.append(Verdict(since_s, body["guard"], body["reaction"], body["channel"]))
    begun_last = {point.index: point for point in phases.points}  # after a hold a point begins anew
    return Course(phases.state, ended_s, tuple(begun_last.values()), tuple(verdicts))


def _lesson(record: Path, say: Callable[[str], None]) -> tuple[Learned | None, str]:
    try:
        learned = learn([record], say).learned
    except CannotLearn as error:
        return None, str(error)
    return learned, "" if learned.response else "this record tells too little of the source's answer"


class _Past:
    """What the simulated bench is given to come to where the record parts; times in s of its own."""

    def __init__(self, record: Path, twin: RunPlan, seq: int) -> None:
        simulation = simulation_of(twin)
        self.commands: list[tuple[float, Action]] = []
        opening = next(read_entries(record))
        simulated = bool(opening.body["simulated"])
        # A simulated bench counts from its own beginning, a real one is looked at from its first entry on.
        self.zero_s = simulation.start_utc.timestamp() if simulated else opening.utc_s
        ohms: dict[str, float] = {}
        source_c: float | None = None
        for entry in _before(record, seq):
            command = command_of(entry.body) if entry.kind == Kind.ACTION else None
            if command is not None:
                self.commands.append((entry.utc_s - self.zero_s, command))
            if entry.kind == Kind.OBSERVATION and entry.body["what"] == "source" and source_c is None:
                source_c = entry.body["temperature_c"]
            if entry.kind == Kind.OBSERVATION and entry.body["what"] == "resistance" and entry.body["value"]:
                ohms.setdefault(twin.channels.get(entry.body["channel"], ""), entry.body["value"])
        faults = tuple(opening.body["faults"])
        self.start = Start(faults=faults) if simulated else Start(source_c, faults, ohms)


def _before(record: Path, seq: int) -> Iterator[Entry]:
    """The entries before number `seq`."""
    for entry in read_entries(record):
        if entry.seq >= seq:
            return
        yield entry


def _step_k(before: Iterable[Entry], after: Iterable[Entry]) -> float | None:
    """The first simulated look at the display less the last recorded one."""
    looks = [
        [e.body["temperature_c"] for e in entries if e.body.get("what") == "source"]
        for entries in (before, after)
    ]
    known = [[value for value in values if value is not None] for values in looks]
    return known[1][0] - known[0][-1] if all(known) else None
