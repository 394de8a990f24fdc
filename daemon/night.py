"""One run from start to safe end: joins bench, journal, guards, procedure and executor."""

from __future__ import annotations

import platform
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import ExitStack, asynccontextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daemon.bridge_offers import check_offers
from daemon.executor.executor import Executor
from daemon.executor.instruments import Instruments
from daemon.executor.opening import bridge_of, monitors_of
from daemon.executor.reactions import Reactions
from daemon.feed import Fed, Feed
from daemon.guardian.heart import Heart
from daemon.guards.catalogue import make_guards
from daemon.guards.panel import GuardPanel
from daemon.guards.situation import Situation
from daemon.guards.verdict import Verdict
from daemon.journal.entry import FORMAT_VERSION, Kind
from daemon.journal.journal import Journal, Listener, continued_journal, new_journal
from daemon.journal.read import RecordError, ended_early, read_entries, read_opening, read_to_damage, verify
from daemon.journal.sinks import BATCH_ROWS
from daemon.journal.store import parked_beside
from daemon.lease import Lease, terms_of
from daemon.preparation import channels_of, limits_of, script_of
from daemon.procedure.run import calibration_run
from daemon.procedure.script import Procedure, Resoak, Script
from daemon.program import program_version
from daemon.states import HALTED, State
from drivers.clock import Clock
from drivers.errors import InstrumentError
from drivers.heat_source import ProfileHeatSource
from drivers.lines import Lines
from drivers.link_events import Transcript
from drivers.registry import open_heat_source
from drivers.roles import HeatSourceCapabilities
from drivers.transcript import written_to
from drivers.wires.memory import FarEnd
from plans.run_plan import RunPlan

WIRES = ".wires.jsonl"
"""What the transcript beside a record ends in."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a night ended: last state, the first cause if it was halted, the record, its head and length.

    `early`: why the run itself ended before its plan was done, such as exchanged thermometers.
    """

    state: State
    cause: Verdict | None
    record: Path
    head: str
    entries: int
    early: str = ""

    @property
    def good(self) -> bool:
        """True when the plan was done to its end."""
        return self.state is State.FINISHED and not self.early


class CannotResume(Exception):
    """The record does not allow to go on; the message says why."""


Voice = Callable[[str, str, str], bool]
"""Says an operator's word, who says it and why, on the night's own loop; returns whether it had an effect."""


@dataclass(frozen=True)
class Bench:
    """What a night needs of the outside: the clock, simulated far ends if any, and who listens.

    `heart` is the guardian's on a real bench; `said` are operator entries from before the start, such as
    the confirmations of the arming. `hand_over` is given the voice of the night; a simulated night that is
    `watched` writes each entry at once.
    """

    clock: Clock
    far_ends: Mapping[str, FarEnd]
    simulated: bool
    listeners: Sequence[Listener] = ()
    faults: Sequence[str] = ()
    heart: Heart | None = None
    said: Sequence[Mapping[str, object]] = ()
    hand_over: Callable[[Voice], None] | None = None
    watched: bool = False


class Night:
    """The parts of one run, put together."""

    def __init__(self, run: RunPlan, instruments: Instruments, heart: Heart | None = None) -> None:
        capabilities = instruments.source.capabilities
        self.run = run
        self.instruments = instruments
        self.heart = heart
        self.script: Script = script_of(run, capabilities)
        self.panel = _panel(run, capabilities)
        self.procedure: Procedure = calibration_run(self.script)

    def watch_afresh(self, now_s: float) -> None:
        """New guards after a time without watch: what was commanded still holds, what was seen does not."""
        before = self.panel.situation
        self.panel = _panel(self.run, self.instruments.source.capabilities)
        now = self.panel.situation
        now.commanded_c, now.ramp_k_per_min = before.commanded_c, before.ramp_k_per_min
        now.heater_commanded, now.switched_at_s = before.heater_commanded, before.switched_at_s
        now.commanded_at_s = now.changed_at_s = now.now_s = now_s

    def executor(self, journal: Journal, state: State = State.IDLE, folder: Path | None = None) -> Executor:
        """The executor that drives this night's procedure into `journal`; `folder` is where that lies."""
        reactions = Reactions(self.script)
        return Executor(
            self.instruments, journal, self.panel, reactions, state=state, heart=self.heart, folder=folder
        )


async def run_night(run: RunPlan, record: Path, bench: Bench) -> Outcome:
    """Run a plan from its start; raises InstrumentError, OSError before anything is heated."""
    async with _instruments(run, record, bench) as instruments:
        names = await _identify(instruments)
        check_offers(run, instruments.bridge.capabilities)
        lease = None if instruments.lease is None else await instruments.lease.grant()
        journal = _new_record(run, record, bench, names)
        if lease is not None:
            journal.append(Kind.MILESTONE, {"mark": "lease", **lease, "by": State.IDLE})
        for word in bench.said:
            journal.append(Kind.OPERATOR, word)
        night = Night(run, instruments, bench.heart)
        executor = night.executor(journal, folder=_folder(record, bench))
        if bench.hand_over is not None:
            bench.hand_over(executor.word)
        return await _to_the_end(night, record, journal, executor, None)


def _new_record(run: RunPlan, record: Path, bench: Bench, names: Mapping[str, str]) -> Journal:
    batch = 1 if bench.watched else BATCH_ROWS
    journal = new_journal(record, bench.clock, simulated=bench.simulated, batch=batch)
    for listener in bench.listeners:
        journal.listen(listener)
    journal.append(Kind.OPENED, _opening(run, bench))
    journal.append(Kind.MILESTONE, {"mark": "identified", **names, "by": State.IDLE})
    return journal


async def resume_night(
    run: RunPlan, record: Path, bench: Bench, gap_s: float, forbidden: str = ""
) -> Outcome:
    """Go on with an interrupted run, or bring the source down; raises CannotResume.

    The state of the source is looked at first. The run goes on only when the plan allows it, the gap
    is short, the source is where it was left, and nothing else makes it `forbidden`; otherwise it is parked.
    A damaged record is left as it is: the source is parked in one of its own beside it.
    """
    verification = verify(record)
    if not verification.intact:
        why = f"parked: {record.name} is damaged and never continued ({verification.problem})"
        return await _park_night(run, parked_beside(record), bench, gap_s, why, _halt(_left_in(record)))
    async with _instruments(run, record, bench) as instruments:
        names, missing = await _who_answers(instruments)
        missing = missing or _exchanged(names, _identified_in(record))
        night = Night(run, instruments, bench.heart)
        fed = _fed(night, record)
        head = bytes.fromhex(verification.head)
        journal = continued_journal(record, bench.clock, fed.seq, head, simulated=bench.simulated)
        for listener in bench.listeners:
            journal.listen(listener)
        journal.append(
            Kind.STATE, {"from": fed.state, "to": State.INTERRUPTED, "cause": "the record ends here"}
        )
        refusal = await _why_not(night, fed, gap_s, forbidden or missing)
        reason = refusal or f"resumed after {gap_s:.0f} s in which nobody was watching"
        journal.append(Kind.INTERRUPTION, {"reason": reason, "gap_s": round(gap_s, 3)})
        night.watch_afresh(journal.stamped_s)
        executor = night.executor(journal, State.INTERRUPTED, _folder(record, bench))
        if bench.hand_over is not None:
            bench.hand_over(executor.word)
        resoak = None if refusal else Resoak(reason)
        return await _to_the_end(night, record, journal, executor, resoak, refusal, _halt(fed.state))


async def _park_night(
    run: RunPlan, record: Path, bench: Bench, gap_s: float, why: str, halt: State
) -> Outcome:
    """Do nothing but bring the source down, in a new record."""
    async with _instruments(run, record, bench) as instruments:
        names, _ = await _who_answers(instruments)
        journal = _new_record(run, record, bench, names)
        journal.append(Kind.STATE, {"from": State.IDLE, "to": State.INTERRUPTED, "cause": why})
        journal.append(Kind.INTERRUPTION, {"reason": why, "gap_s": round(gap_s, 3)})
        night = Night(run, instruments, bench.heart)
        executor = night.executor(journal, State.INTERRUPTED, _folder(record, bench))
        if bench.hand_over is not None:
            bench.hand_over(executor.word)
        return await _to_the_end(night, record, journal, executor, None, why, halt)


async def _to_the_end(
    night: Night,
    record: Path,
    journal: Journal,
    executor: Executor,
    resoak: Resoak | None,
    down_because: str = "",
    halt: State = State.PARKING,
) -> Outcome:
    try:
        if night.heart is not None:
            night.heart.arm()
        if down_because:
            state = await executor.bring_down(down_because, halt)
        else:
            state = await executor.run(night.procedure, resoak)
        if night.heart is not None:
            night.heart.disarm()  # only here: any other way out leaves the source to the guardian
        journal.append(Kind.CLOSED, {"outcome": state, "entries": journal.count + 1})
    finally:
        journal.close()
    return Outcome(state, night.panel.cause, record, journal.head, journal.count, _early(record))


def _early(record: Path) -> str:
    # How the run ended must be told even when its record cannot be read back.
    with suppress(RecordError):
        return ended_early(record)
    return ""


def _folder(record: Path, bench: Bench) -> Path | None:
    # A simulated night must not depend on how full this computer's disk is.
    return None if bench.simulated else record.parent


def _fed(night: Night, record: Path) -> Fed:
    fed = Feed(night.procedure, night.panel).run(read_entries(record))
    if fed.state in (State.PARKED, State.FINISHED) or fed.closed:
        raise CannotResume(f"{record}: this run is {fed.state}; a halted or finished run is never resumed")
    return fed


def _left_in(record: Path) -> State:
    """The last state that a damaged record tells; raises CannotResume when the run had ended."""
    state = State.IDLE
    for entry in read_to_damage(record):
        state = State(entry.body["to"]) if entry.kind == Kind.STATE else state
        if entry.kind == Kind.CLOSED:
            raise CannotResume(f"{record}: this run is {state}; a halted or finished run is never resumed")
    return state


def _halt(state: State) -> State:
    """How a run that was broken off is brought down: a cut stays a cut, anything else is parked."""
    return State.CUT if state is State.CUT else State.PARKING


async def _why_not(night: Night, fed: Fed, gap_s: float, forbidden: str) -> str:
    """Why the run must not go on by itself; empty when it may."""
    if fed.state in HALTED:
        return f"this run was {fed.state} when it was broken off: it is brought down to its end, never up"
    if forbidden:
        return f"parked: {forbidden}"
    if fed.parted is not None:
        return f"parked: this program is not the one that began the run; {fed.parted}"
    resume = night.run.plan.resume
    if resume.policy != "continue":
        return "parked after an interruption: the plan's resume policy is park"
    if not gap_s <= resume.maximum_gap_s:
        return f"parked after {gap_s:.0f} s without watch; the plan allows {resume.maximum_gap_s:.0f} s"
    look = await night.instruments.look()
    before = night.panel.situation.source
    now_c = look.status.temperature.value
    if now_c is None or not before.seen() or not abs(now_c - before.temperature_c) <= 5.0:
        return "parked after an interruption: the source is not where it was left"
    commanded_c = night.panel.situation.commanded_c
    read_c = look.status.set_point.value
    if commanded_c is not None and (read_c is None or not abs(read_c - commanded_c) <= 0.1):
        return "parked after an interruption: the controller's set-point is not the one commanded"
    return ""


@asynccontextmanager
async def _instruments(run: RunPlan, record: Path, bench: Bench) -> AsyncIterator[Instruments]:
    """The bench's instruments; every byte on real wires is written down beside the record."""
    with ExitStack() as kept:
        transcript: Transcript | None = None
        if not bench.simulated:
            with suppress(OSError):
                transcript = kept.enter_context(written_to(record.with_suffix(WIRES), bench.clock))
        instruments = open_instruments(run, bench, transcript)
        try:
            yield instruments
        finally:
            await instruments.close()


def open_instruments(run: RunPlan, bench: Bench, transcript: Transcript | None = None) -> Instruments:
    """The bench's instruments in their roles, nothing sent yet; raises BadProfile."""
    facts = run.bench.heat_source
    lines = Lines(bench.clock, bench.far_ends, transcript)
    source = open_heat_source(facts.profile, facts.address, bench.clock, lines=lines)
    lease: Lease | None = None
    if isinstance(source, ProfileHeatSource):
        terms = terms_of(source.profile, run.parking_c)
        lease = None if terms is None else Lease(source, terms, bench.clock)
    return Instruments(source, bridge_of(run.bench, lines), bench.clock, monitors_of(run.bench, lines), lease)


async def _identify(instruments: Instruments) -> dict[str, str]:
    return {role: await device.identify() for role, device in instruments.devices}


def _identified_in(record: Path) -> Mapping[str, Any]:
    """Who answered when the run began; a record that ends before that says nothing."""
    marks = read_entries(record, frozenset({Kind.MILESTONE}))
    return next((entry.body for entry in marks if entry.body["mark"] == "identified"), {})


def _exchanged(names: Mapping[str, str], before: Mapping[str, Any]) -> str:
    """Which instrument is another one than before; empty when none is."""
    others = [role for role, name in names.items() if before.get(role, name) != name]
    said = [f"the {role} is another one: {names[role]}, before it was {before[role]}" for role in others]
    return "; ".join(said)


async def _who_answers(instruments: Instruments) -> tuple[dict[str, str], str]:
    """Who is there after an interruption, and why nothing may be heated with them; empty when it may.

    Without the source nothing can be done at all: raises InstrumentError. Without any other it is parked.
    """
    names, missing = dict[str, str](), ""
    for role, device in instruments.devices:
        try:
            names[role] = await device.identify()
        except InstrumentError as error:
            if role == "source":
                raise
            names[role], missing = f"not identified: {error}", missing or f"the {role} is not there: {error}"
    try:
        if instruments.lease is not None:
            await instruments.lease.grant()
    except InstrumentError as error:
        missing = missing or f"the controller no longer takes its reaction to silence: {error}"
    return names, missing


def _panel(run: RunPlan, capabilities: HeatSourceCapabilities) -> GuardPanel:
    situation = Situation(limits_of(run), channels_of(run), capabilities)
    return GuardPanel(make_guards(run.plan.guards), situation)


def _opening(run: RunPlan, bench: Bench) -> dict[str, object]:
    """Everything needed to repeat the work from this record alone."""
    simulation = run.bench.simulation
    return {
        "format": FORMAT_VERSION,
        "program": program_version(),
        "python": platform.python_version(),
        "simulated": bench.simulated,
        "seed": simulation.seed if simulation and bench.simulated else None,
        "faults": list(bench.faults),
        "names": {"plan": run.names.plan, "bench": run.names.bench, "register": run.names.register},
        "plan": run.texts.plan,
        "bench": run.texts.bench,
        "register": run.texts.register,
    }


def recorded_plan_texts(record: Path) -> tuple[str, str, str]:
    """Plan, bench and register as they were when the run was opened; raises RecordError."""
    body = read_opening(record).body
    return body["plan"], body["bench"], body["register"]
