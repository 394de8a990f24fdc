"""A night on simulated instruments in simulated time: the only door to the simulators.

What its thermometers really are stands in `rehearsal_truths.py`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

from daemon.actions import Action
from daemon.bridge_offers import check_offers
from daemon.channel_test import Found, channel_test
from daemon.executor.instruments import Instruments
from daemon.feed import command_of
from daemon.journal.entry import Entry, Kind
from daemon.journal.journal import Listener
from daemon.journal.read import read_to_damage
from daemon.night import Bench, Outcome, Voice, open_instruments, resume_night, run_night
from daemon.rehearsal_truths import AS_DRAWN, Start, simulation_of, start_of, true_resistor_ohm, truths_of
from drivers.clock import Clock
from plans.run_plan import RunPlan
from simulators import virtual_time
from simulators.faults import FaultError, describe_kinds, parse_faults
from simulators.physics.models import MODELS
from simulators.physics.probe import Probe
from simulators.scene import Scene, SceneSpec
from simulators.served import Stand, served
from simulators.twin import Display, Order, answer, learned_constants

T = TypeVar("T")

__all__ = [
    "Display",
    "FaultError",
    "Looks",
    "Rehearsal",
    "Scene",
    "Stand",
    "Start",
    "bench_as_left",
    "describe_kinds",
    "in_simulated_time",
    "make_scene",
    "rehearse",
    "rehearse_channel_test",
    "resume_rehearsal",
    "sensor_lag_s",
    "served",
    "simulation_of",
    "twin_answer",
]


@dataclass(frozen=True)
class Looks:
    """When a source was looked at, in s, in a room of `ambient_c`; what it was at the start, in °C."""

    when_s: Sequence[float]
    ambient_c: float
    start_c: float


_HANDLING_S, _HAND_K = 45.0, 6.0
LONGEST_NIGHT_S = 96 * 3600.0
_SPEECH = {"ascii-bath": "ascii-bath", "modbus-block": "modbus-tcp"}
_ON_SERIAL_LINE = {"modbus-tcp": "modbus-rtu"}
NO_CARRIERS: Mapping[str, str] = {}


@dataclass(frozen=True)
class Rehearsal:
    """A simulated night: how it ended, and the scene that knows the truth."""

    outcome: Outcome
    scene: Scene


def rehearse(
    run: RunPlan,
    record: Path,
    *,
    faults: Sequence[str] = (),
    listeners: Sequence[Listener] = (),
    pace: float | None = None,
    hand_over: Callable[[Voice], None] | None = None,
    said: Sequence[Mapping[str, object]] = (),
    attended: bool = True,
) -> Rehearsal:
    """Run the whole night; raises FaultError, InstrumentError, OSError.

    `pace`: simulated s per real s; `hand_over` is given the night's voice, and somebody watches then;
    `said`: operator's entries made before the start; `attended`: a simulated person does what the run asks.
    """
    faults = (*simulation_of(run).faults, *faults)
    scene = make_scene(run, faults)
    person = _Person(scene) if attended else None
    bench = replace(_bench(run, scene, listeners, faults, hand_over, person), said=said)
    outcome = virtual_time.run(run_night(run, record, bench), end_s=LONGEST_NIGHT_S, pace=pace)
    return Rehearsal(outcome, scene)


def resume_rehearsal(
    run: RunPlan,
    record: Path,
    *,
    gap_s: float,
    listeners: Sequence[Listener] = (),
    pace: float | None = None,
    hand_over: Callable[[Voice], None] | None = None,
    forbidden: str = "",
) -> Rehearsal:
    """Go on with an interrupted simulated night; raises CannotResume.

    The simulated bench is brought to where it was by giving it the recorded commands at their times;
    then `gap_s` seconds pass in which nobody watches. All that as fast as it goes, the rest at `pace`.
    """
    readable = list(read_to_damage(record))
    entries = [e for e in readable if e.kind in (Kind.OPENED, Kind.ACTION)]
    leased = any(e.kind == Kind.MILESTONE and e.body["mark"] == "lease" for e in readable)
    ends_s = readable[-1].when_s
    faults = tuple(entries[0].body["faults"])
    scene = make_scene(run, faults)
    bench = _bench(run, scene, listeners, faults, hand_over, _Person(scene))

    async def go_on() -> Outcome:
        commands = [(e.when_s, command_of(e.body)) for e in entries if e.kind == Kind.ACTION]
        await _fast_forward(run, bench, commands, ends_s, leased=leased)
        await bench.clock.sleep_until(ends_s + gap_s)
        loop = asyncio.get_running_loop()
        assert isinstance(loop, virtual_time.VirtualTimeLoop)
        loop.keep_pace(pace)
        return await resume_night(run, record, bench, gap_s, forbidden)

    return Rehearsal(in_simulated_time(go_on()), scene)


def in_simulated_time(main: Coroutine[Any, Any, T]) -> T:
    """Run `main` to its end on the jumping clock."""
    return virtual_time.run(main, end_s=LONGEST_NIGHT_S)


async def bench_as_left(
    run: RunPlan, commands: Sequence[tuple[float, Action]], until_s: float, start: Start, clock: Clock
) -> Instruments:
    """A simulated bench that was given these commands at their times, in s, and has come to `until_s`.

    Its instruments take their time from `clock`. Raises FaultError, SceneError, InstrumentError.
    """
    bench = _bench(run, make_scene(run, start.faults, start=start), (), start.faults, None, None)
    await _fast_forward(run, bench, commands, until_s)
    instruments = open_instruments(run, replace(bench, clock=clock))
    check_offers(run, instruments.bridge.capabilities)
    return instruments


def rehearse_channel_test(run: RunPlan, faults: Sequence[str] = ()) -> list[Found]:
    """The channel test with a simulated hand; raises FaultError, InstrumentError."""
    scene = make_scene(run, faults)
    bench = _bench(run, scene, (), faults, None, None)

    held: list[Probe] = []

    async def warm(serial: str) -> None:
        scene.advance(bench.clock.monotonic_s())
        for probe in held:
            probe.warm(-_HAND_K)
        held[:] = [scene.truth(serial)]
        held[0].warm(_HAND_K)
        await bench.clock.sleep(_HANDLING_S)

    async def test() -> list[Found]:
        instruments = open_instruments(run, bench)
        try:
            return await channel_test(run, instruments.bridge, warm)
        finally:
            await instruments.close()

    return in_simulated_time(test())


def make_scene(
    run: RunPlan,
    faults: Sequence[str] = (),
    *,
    carriers: Mapping[str, str] = NO_CARRIERS,
    start: Start = AS_DRAWN,
) -> Scene:
    """The simulated bench of a run plan; raises FaultError, SceneError.

    `carriers` of instruments that will be served: on a pseudo-terminal (pty) Modbus has other frames.
    """
    simulation = simulation_of(run)
    speech, shown = _SPEECH[run.bench.heat_source.profile], simulation.display
    spec = SceneSpec(
        model=simulation.model,
        seed=simulation.seed,
        probes=tuple(truths_of(run, start)),
        source_speech=_ON_SERIAL_LINE.get(speech, speech) if carriers.get("source") == "pty" else speech,
        ambient_c=simulation.ambient_c,
        start_c=start_of(run) if start.source_c is None else start.source_c,
        reference_channel=run.plan.reference.channel,
        faults=parse_faults(faults),
        learned=tuple(simulation.response.items()),
        display=None if shown is None else Display(shown.offset_k, shown.slope),
        resistor_ohm=true_resistor_ohm(run, simulation.seed),
        interlocks_on_serial_line=carriers.get("interlocks") == "pty",
    )
    return Scene(spec)


def sensor_lag_s(model: str) -> float:
    """Time constant of the control sensor of a shipped model, in s."""
    return MODELS[model].sensor_lag_s


def twin_answer(
    model: str, factors: Mapping[str, float], display: Display, orders: Sequence[Order], looks: Looks
) -> tuple[list[float], list[float]]:
    """Display in °C and output in % that a shipped model times `factors` gives to recorded orders."""
    constants = learned_constants(model, factors, display)
    return answer(constants, orders, looks.when_s, looks.ambient_c, looks.start_c)


def _bench(
    run: RunPlan,
    scene: Scene,
    listeners: Sequence[Listener],
    faults: Sequence[str],
    hand_over: Callable[[Voice], None] | None,
    person: _Person | None,
) -> Bench:
    far_ends = {name: scene.instrument(name) for name in scene.names}
    clock = Clock(simulation_of(run).start_utc)
    return Bench(
        clock,
        far_ends,
        simulated=True,
        listeners=listeners if person is None else [*listeners, person],
        faults=faults,
        hand_over=hand_over if person is None else person.heard_with(hand_over),
        watched=hand_over is not None,
    )


class _Person:
    """Whoever stands at the simulated bench: sets a probe's depth when the run asks for it, and says so."""

    def __init__(self, scene: Scene) -> None:
        self._scene = scene
        self._voices: list[Voice] = []

    def heard_with(self, hand_over: Callable[[Voice], None] | None) -> Callable[[Voice], None]:
        """Takes the night's voice, beside whoever else is given it."""

        def both(voice: Voice) -> None:
            self._voices.append(voice)
            if hand_over is not None:
                hand_over(voice)

        return both

    def __call__(self, entry: Entry) -> None:
        """Listen to the journal."""
        if entry.kind == Kind.ACTION and entry.body["do"] == "ask_person":
            asyncio.get_running_loop().call_later(_HANDLING_S, self._do, dict(entry.body))

    def _do(self, asked: dict[str, Any]) -> None:
        probe = next(p for p in self._scene.probes.values() if p.truth.channel == asked["channel"])
        probe.withdrawn_mm = asked["withdrawn_mm"]
        for voice in self._voices:
            voice("proceed", "nobody: simulated bench", "")


async def _fast_forward(
    run: RunPlan,
    bench: Bench,
    commands: Sequence[tuple[float, Action | None]],
    until_s: float,
    *,
    leased: bool = False,
) -> None:
    """Give the commands at their times; `leased`: until then somebody renewed the source's lease."""
    instruments = open_instruments(run, bench)
    for when_s, command in commands:
        if command is not None:
            await bench.clock.sleep_until(when_s)
            await instruments.carry_out(command)
    await bench.clock.sleep_until(until_s)
    if leased and instruments.lease is not None:
        await instruments.lease.grant()
    await instruments.close()
