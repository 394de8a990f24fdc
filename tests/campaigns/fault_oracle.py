"""One shortened night with one fault, judged by the simulated world and not by the daemon's own record."""

from __future__ import annotations

import asyncio
import math
import tempfile
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from daemon.guards.verdict import Reaction
from daemon.journal.entry import Entry, Kind
from daemon.journal.journal import Listener, new_journal
from daemon.night import Bench, Night, open_instruments
from daemon.rehearsal import make_scene, simulation_of
from daemon.states import State
from drivers.clock import Clock
from plans.run_plan import RunPlan
from simulators import virtual_time
from simulators.faults import parse_fault
from simulators.scene import Scene

COOLS_BY_ITSELF = frozenset(
    {
        "fan-stuck",
        "cold-load",
        "brown-out",
        "heater-open",
        "weak-heater",
        "over-temperature",
        "panel-heater-off",
        "panel-set-point",
        "bad-control",
    }
)
"""Faults that are themselves the fast cooling; nothing the program does or leaves makes it slower."""

UNCOMMANDABLE = frozenset(
    {"lost-write", "silence", "garbage", "late-answer", "half-line", "wrong-identity", "disconnect"}
)
"""Faults that may keep a command from arriving."""

STUCK, PANEL = "stuck-relay", "panel-set-point"
_RATE_S = 60
_ANNEALING_S, _SLOW_K_PER_MIN = 600, 2.0
_SLACK = 1.5
_SLACK_K_PER_MIN = 0.3
_HEARD_AFTER_S = 60.0
_RISE_K = 0.02
_BACK_WITHIN_S = 30.0


@dataclass
class Case:
    """What one night showed; temperatures in °C, times in s, `margin_k` below the tightest rating.

    `hottest_c`: for each rated thing its highest true temperature and its rating.
    """

    plant: str
    fault: str
    healthy_end_s: float = 0.0
    first_guard: str = ""
    first_s: float | None = None
    first_mark_s: float | None = None
    reaction: str = ""
    state: str = ""
    hottest_c: dict[str, tuple[float, float]] = field(default_factory=dict)
    margin_k: float = 0.0
    tightest: str = ""
    cooling_share: float = 0.0
    cut_cooling_share: float = 0.0
    violations: list[str] = field(default_factory=list)

    @property
    def kind(self) -> str:
        """The fault's kind; empty on a healthy night."""
        return self.fault.split("@")[0]


@dataclass
class Notes:
    """What the listener takes down while the night runs; `panel` when somebody turns the set-point there."""

    scene: Scene
    fault_s: float
    panel: bool = False
    state: str = State.IDLE
    changes: list[tuple[float, str]] = field(default_factory=list)
    verdicts: list[tuple[float, str, str]] = field(default_factory=list)
    parking_s: float | None = None
    raised: list[str] = field(default_factory=list)
    heater_on_again: list[str] = field(default_factory=list)
    energy_at_cut_j: float | None = None
    cut_s: float = 0.0

    def listen(self, entry: Entry) -> None:
        """Take note of states and verdicts as they happen."""
        if entry.kind == Kind.STATE:
            self.state = str(entry.body["to"])
            self.changes.append((entry.when_s, self.state))
        elif entry.kind == Kind.VERDICT and entry.when_s >= self.fault_s:
            self.verdicts.append((entry.when_s, entry.body["guard"], entry.body["reaction"]))
        elif entry.kind == Kind.MILESTONE and entry.body["mark"] == "parking" and self.parking_s is None:
            self.parking_s = entry.when_s
        elif self.state == State.CUT and self.energy_at_cut_j is None:
            if self.cut_s == 0.0:
                self.cut_s = entry.when_s
            if entry.when_s - self.cut_s > _HEARD_AFTER_S:
                self.energy_at_cut_j = self.scene.heater_energy_j

    def spy(self) -> None:
        """Note every set-point written over the wire that is higher than the one before, while halted."""
        controller = self.scene.source.controller
        write = controller.write_set_point

        def noted(temperature_c: float, sensor_c: float) -> None:
            halted = self.state in (State.HOLDING, State.PARKING, State.CUT, State.PARKED)
            if halted and not self.panel and temperature_c > controller.set_point_c + _RISE_K:
                self.raised.append(f"{self.state}: {controller.set_point_c:.2f} -> {temperature_c:.2f} °C")
            write(temperature_c, sensor_c)

        controller.write_set_point = noted  # type: ignore[method-assign]


def night_with(
    run: RunPlan,
    plant: str,
    fault: str = "",
    *,
    hours_after: float = 2.5,
    stop_s: float = 48 * 3600.0,
    words: Sequence[tuple[float, str]] = (),
    disturb: Callable[[Scene], None] | None = None,
    heard: Listener | None = None,
) -> Case:
    """Run the night, stop it some hours after the fault (or at `stop_s`), and judge it by what was true.

    `words` are what a person says, each with its time in s.
    """
    case = Case(plant, fault)
    faults = (fault,) if fault else ()
    parsed = parse_fault(fault) if fault else None
    fault_s = parsed.at_s if parsed else 0.0
    scene = make_scene(run, faults)
    notes = Notes(scene, fault_s, panel=parsed is not None and parsed.kind == PANEL)
    notes.spy()
    if disturb is not None:
        disturb(scene)
    end_s = fault_s + 3600.0 * hours_after if fault else stop_s
    listeners = [notes.listen] if heard is None else [notes.listen, heard]
    with tempfile.TemporaryDirectory() as folder, suppress(virtual_time.EndReached):
        far_ends = {name: scene.instrument(name) for name in ("source", "bridge")}
        clock = Clock(simulation_of(run).start_utc)
        bench = Bench(clock, far_ends, simulated=True, listeners=listeners, faults=faults)
        virtual_time.run(_run(run, Path(folder) / "night.record", bench, words), end_s=end_s)
    judge(case, run, scene, notes)
    return case


async def _run(run: RunPlan, record: Path, bench: Bench, words: Sequence[tuple[float, str]]) -> None:
    instruments = open_instruments(run, bench)
    night = Night(run, instruments)
    journal = new_journal(record, bench.clock, simulated=True)
    for listener in bench.listeners:
        journal.listen(listener)
    executor = night.executor(journal)
    driving = asyncio.create_task(executor.run(night.procedure))
    try:
        for when_s, word in words:
            await bench.clock.sleep_until(when_s)
            executor.word(word, "a person at the bench")
        await driving
    finally:
        driving.cancel()
        await asyncio.gather(driving, return_exceptions=True)
        journal.close()
        await instruments.close()


def judge(case: Case, run: RunPlan, scene: Scene, notes: Notes) -> None:
    """Fill in the case from what was true."""
    case.state = notes.state
    case.healthy_end_s = notes.parking_s or 0.0
    strong = [v for v in notes.verdicts if v[2] != Reaction.MARK.word]
    if notes.verdicts:
        case.first_mark_s = notes.verdicts[0][0] - notes.fault_s
    if strong:
        case.first_s, case.first_guard = strong[0][0] - notes.fault_s, strong[0][1]
        case.reaction = max((v[2] for v in strong), key=lambda word: Reaction[word.upper()])
    _temperatures(case, run, scene)
    _cooling(case, run, scene, notes)
    _heat(case, scene, notes)


def _temperatures(case: Case, run: RunPlan, scene: Scene) -> None:
    hottest = {
        one.serial: (scene.probes[one.serial].highest_c, one.maximum.value) for one in run.thermometers
    }
    hottest["source"] = (max(scene.source.medium_c), run.bench.heat_source.maximum_c)
    if run.bench.fluid is not None:
        hottest["fluid"] = (max(scene.source.medium_c), run.bench.fluid.maximum_c)
    case.hottest_c = hottest
    case.margin_k, case.tightest = min((rated - true, name) for name, (true, rated) in hottest.items())
    if not case.margin_k >= 0.0:
        case.violations.append(f"{case.tightest} {-case.margin_k:.1f} K over its rating")


def _cooling(case: Case, run: RunPlan, scene: Scene, notes: Notes) -> None:
    """Share of the allowed fall (one and a half times the limit and a little) that was reached."""
    medium, cut_from = scene.source.medium_c, next((s for s, to in notes.changes if to == State.CUT), None)
    allowed: dict[int, float] = {}
    for second in range(int(notes.fault_s), len(medium)):
        whole = int(medium[second])
        if whole not in allowed:
            allowed[whole] = min(one.cooling_from(whole).value for one in run.thermometers)
        # Shock acts within a minute; what a slow limit protects from, vacancies, takes many.
        span_s = _ANNEALING_S if allowed[whole] < _SLOW_K_PER_MIN else _RATE_S
        fall = (medium[max(0, second - span_s)] - medium[second]) / (span_s / 60.0)
        share = fall / (_SLACK * allowed[whole] + _SLACK_K_PER_MIN)
        if cut_from is not None and second > cut_from:
            case.cut_cooling_share = max(case.cut_cooling_share, share)
        else:
            case.cooling_share = max(case.cooling_share, share)
    if case.cooling_share > 1.0 and case.kind not in COOLS_BY_ITSELF:
        case.violations.append(f"fell {case.cooling_share:.2f} times as fast as allowed")


def _heat(case: Case, scene: Scene, notes: Notes) -> None:
    case.violations += [f"set-point raised in {text}" for text in notes.raised]
    if case.kind == STUCK or case.kind in UNCOMMANDABLE:
        return
    # A source that comes back with its power heats by itself until the next command reaches it.
    by_itself_j = _BACK_WITHIN_S * scene.source.constants.power_w if case.kind == "brown-out" else 0.0
    joule = scene.heater_energy_j - (notes.energy_at_cut_j or math.inf)
    if joule > by_itself_j:
        case.violations.append(f"{joule:.0f} J heated after the cut")
    over = [to for _, to in notes.changes if to in (State.PARKED, State.FINISHED)]
    if over and scene.source.output_percent > 0.0:
        case.violations.append(f"{over[0]} with the heater at {scene.source.output_percent:.0f} %")
