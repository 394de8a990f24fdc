"""A night on simulated instruments in simulated time: the only door to the simulators.

The thermometers' truth is drawn from the bench's seed; the reference follows its certificate plus an
error drawn from the certificate's own uncertainty and from the budget's terms, so that a result can be
judged against a truth that the fit never sees.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Coroutine, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

from daemon.actions import Action
from daemon.channel_test import Found, channel_test
from daemon.executor.instruments import Instruments
from daemon.feed import command_of
from daemon.journal.entry import Entry, Kind
from daemon.journal.journal import Listener
from daemon.journal.read import read_to_damage
from daemon.night import Bench, Outcome, Voice, open_instruments, resume_night, run_night
from drivers.clock import Clock
from plans.bench import Simulation, Truth, UncertaintyTerm
from plans.calibration import Calibration
from plans.plan import Item
from plans.run_plan import RunPlan
from simulators import virtual_time
from simulators.draw import Place, certified_its90, draw_head, draw_probe, draw_reference
from simulators.faults import FaultError, describe_kinds, parse_faults
from simulators.physics.models import MODELS
from simulators.physics.noise import generator
from simulators.physics.platinum import Bridged, CallendarVanDusen, Characteristic, Insulation
from simulators.physics.probe import Probe, ProbeTruth
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
    "twin_answer",
]


@dataclass(frozen=True)
class Looks:
    """When a source was looked at, in s, in a room of `ambient_c`; what it was at the start, in °C."""

    when_s: Sequence[float]
    ambient_c: float
    start_c: float


@dataclass(frozen=True)
class Start:
    """How a simulated bench begins: its source in °C (None: as warm as the room), what breaks when, and what
    thermometers read there in Ω, where they are not to be drawn freely."""

    source_c: float | None = None
    faults: Sequence[str] = ()
    ohms: Mapping[str, float] = field(default_factory=dict)


AS_DRAWN = Start()
_HANDLING_S, _HAND_K = 45.0, 6.0
LONGEST_NIGHT_S = 96 * 3600.0
_SPEECH = {"ascii-bath": "ascii-bath", "modbus-block": "modbus-tcp"}
_ON_SERIAL_LINE = {"modbus-tcp": "modbus-rtu"}
_NO_SELF_HEATING = 1e9
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
    ends_s = readable[-1].when_s
    faults = tuple(entries[0].body["faults"])
    scene = make_scene(run, faults)
    bench = _bench(run, scene, listeners, faults, hand_over, _Person(scene))

    async def go_on() -> Outcome:
        commands = [(e.when_s, command_of(e.body)) for e in entries if e.kind == Kind.ACTION]
        await _fast_forward(run, bench, commands, ends_s + gap_s)
        loop = asyncio.get_running_loop()
        assert isinstance(loop, virtual_time.VirtualTimeLoop)
        loop.keep_pace(pace)
        return await resume_night(run, record, bench, gap_s, forbidden)

    return Rehearsal(virtual_time.run(go_on(), end_s=LONGEST_NIGHT_S), scene)


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
    return open_instruments(run, replace(bench, clock=clock))


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

    return virtual_time.run(test(), end_s=LONGEST_NIGHT_S)


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
        probes=tuple(_reading(truth, start) for truth in _truths(run, simulation.seed)),
        source_speech=_ON_SERIAL_LINE.get(speech, speech) if carriers.get("source") == "pty" else speech,
        ambient_c=simulation.ambient_c,
        start_c=_start_c(run) if start.source_c is None else start.source_c,
        reference_channel=run.plan.reference.channel,
        faults=parse_faults(faults),
        learned=tuple(simulation.response.items()),
        display=None if shown is None else Display(shown.offset_k, shown.slope),
        resistor_ohm=_true_resistor_ohm(run, simulation.seed),
        interlocks_on_serial_line=carriers.get("interlocks") == "pty",
    )
    return Scene(spec)


def _true_resistor_ohm(run: RunPlan, seed: int) -> float | None:
    """What the standard resistor really has: its certified value and an error within its uncertainty."""
    resistor = run.bench.bridge.resistor
    if (resistor is None) != (run.bench.scanner is None):
        raise ValueError(
            f"{run.names.bench}: the simulated ratio bridge has one input: [bridge.resistor] and "
            "[scanner] go together"
        )
    if resistor is None:
        return None
    u_ppm = resistor.expanded_uncertainty_ppm / resistor.coverage_factor
    return resistor.ohm * (1.0 + 1e-6 * generator(seed, "resistor").gauss(0.0, u_ppm))


def sensor_lag_s(model: str) -> float:
    """Time constant of the control sensor of a shipped model, in s."""
    return MODELS[model].sensor_lag_s


def twin_answer(
    model: str, factors: Mapping[str, float], display: Display, orders: Sequence[Order], looks: Looks
) -> tuple[list[float], list[float]]:
    """Display in °C and output in % that a shipped model times `factors` gives to recorded orders."""
    constants = learned_constants(model, factors, display)
    return answer(constants, orders, looks.when_s, looks.ambient_c, looks.start_c)


def simulation_of(run: RunPlan) -> Simulation:
    """The bench's simulation table; raises ValueError on a real bench."""
    if run.bench.simulation is None:
        raise ValueError(f"{run.names.bench}: this is a real bench, it has no [simulation] table")
    return run.bench.simulation


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
    run: RunPlan, bench: Bench, commands: Sequence[tuple[float, Action | None]], until_s: float
) -> None:
    instruments = open_instruments(run, bench)
    for when_s, command in commands:
        if command is not None:
            await bench.clock.sleep_until(when_s)
            await instruments.carry_out(command)
    await bench.clock.sleep_until(until_s)
    await instruments.close()


def _truths(run: RunPlan, seed: int) -> list[ProbeTruth]:
    items = [_item(run, item, seed) for item in run.plan.items]
    heads = [(t.serial, t.head_channel) for t in run.thermometers if t.head_channel is not None]
    drawn_heads = [draw_head(f"{serial} head", channel, seed) for serial, channel in heads]
    drawn = [_reference(run, seed), *items, *drawn_heads]
    truths, lags_s = simulation_of(run).truths, simulation_of(run).lags_s
    told = [_with_truth(probe, truths[probe.serial]) if probe.serial in truths else probe for probe in drawn]
    return [_with_lag(probe, lags_s[probe.serial]) if probe.serial in lags_s else probe for probe in told]


def _start_c(run: RunPlan) -> float | None:
    return None if run.bench.molten is None else run.bench.start_c


def _reading(probe: ProbeTruth, start: Start) -> ProbeTruth:
    """The drawn thermometer, its resistance scaled to what it reads at the start, where that is told."""
    if start.source_c is None or probe.serial not in start.ohms:
        return probe
    share = 1.0 - start.ohms[probe.serial] / probe.resistance_ohm(start.source_c)
    return replace(probe, characteristic=Bridged(probe.characteristic, share))


def _with_lag(probe: ProbeTruth, lag_s: float) -> ProbeTruth:
    first_s, second_s = probe.lags_s
    return replace(
        probe, lags_s=(first_s * lag_s / (first_s + second_s), second_s * lag_s / (first_s + second_s))
    )


def _with_truth(probe: ProbeTruth, truth: Truth) -> ProbeTruth:
    """The drawn thermometer with what the bench file says of it."""
    mohm, heating = truth.insulation_mohm, truth.heating_mw_per_k
    return replace(
        probe,
        characteristic=Bridged(probe.characteristic, truth.shorted_turns),
        hysteresis_ppm=truth.hysteresis_ppm,
        shift_ppm=truth.shift_ppm,
        emf_uv=truth.emf_uv,
        drifts_above_c=math.inf if truth.shifts_above_c is None else truth.shifts_above_c,
        insulation=probe.insulation if mohm is None else Insulation(at_22_c_mohm=mohm),
        self_heating_mw_per_k=probe.self_heating_mw_per_k if heating is None else heating,
    )


def _item(run: RunPlan, item: Item, seed: int) -> ProbeTruth:
    """A check standard follows its own certificate within its uncertainty; any other item is drawn."""
    thermometer = run.thermometer(item.serial)
    place = replace(_place(run), immersion_mm=run.immersion_mm(item.serial))
    calibration = thermometer.calibration
    if calibration is None:
        form = "callendar_van_dusen" if thermometer.kind == "iprt" else "its90"
        r0_ohm = thermometer.nominal_r0_ohm
        return draw_probe(item.serial, item.channel, thermometer.kind, r0_ohm, seed, form=form, place=place)
    return draw_reference(
        item.serial,
        item.channel,
        thermometer.kind,
        _certified(calibration),
        seed,
        u_common_mk=calibration.expanded_uncertainty_mk / calibration.coverage_factor,
        place=place,
    )


def _reference(run: RunPlan, seed: int) -> ProbeTruth:
    thermometer, calibration = run.reference, run.reference.calibration
    assert calibration is not None, "a plan without a calibrated reference is refused when it is read"
    certificate_mk = calibration.expanded_uncertainty_mk / calibration.coverage_factor
    drifts_mk = [_standard_mk(term) for term in run.bench.uncertainty if "drift" in term.name]
    drift_mk = math.hypot(certificate_mk, *drifts_mk)
    truth = draw_reference(
        thermometer.serial,
        run.plan.reference.channel,
        thermometer.kind,
        _certified(calibration),
        seed,
        u_common_mk=drift_mk,
        place=replace(_place(run), half_width_k=0.0, slope_half_width=0.0),
    )
    # Its certificate holds at the measuring current, so that current warms it no further here.
    return replace(truth, self_heating_mw_per_k=_NO_SELF_HEATING)


def _certified(calibration: Calibration) -> Characteristic:
    if calibration.equation == "its90":
        assert calibration.r_tpw_ohm is not None
        return certified_its90(calibration.r_tpw_ohm, {s.name: s.coefficients for s in calibration.subranges})
    cvd, r0_ohm = calibration.callendar_van_dusen, calibration.r0_ohm
    assert cvd is not None and r0_ohm is not None
    return CallendarVanDusen(r0_ohm, cvd.a, cvd.b, cvd.c)


def _place(run: RunPlan) -> Place:
    """Where a thermometer sits: its offset is drawn from the half-widths that the budget states."""
    source = run.bench.heat_source
    return Place(
        immersion_mm=source.immersion_mm,
        half_width_k=1e-3 * _half_width_mk(run, "constant"),
        slope_half_width=1e-5 * _half_width_mk(run, "ambient_excess"),
        in_bore=source.kind != "stirred_bath",
    )


def _half_width_mk(run: RunPlan, shape: str) -> float:
    terms = (t for t in run.bench.uncertainty if t.shape == shape and t.unit == "mK")
    # One rectangular draw with the variance of all of them: their plain sum would be wider than the budget.
    return math.hypot(*(t.size for t in terms if "uniformity" in t.name or "stem" in t.name))


def _standard_mk(term: UncertaintyTerm) -> float:
    return term.size / (term.divisor or math.sqrt(3.0)) if term.unit == "mK" else 0.0
