"""A whole simulated bench: heat source, probes, bridge, and what breaks when."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from simulators.fault_actions import actions
from simulators.faults import KINDS, Fault
from simulators.instruments.ascii_bath import AsciiBath
from simulators.instruments.modbus_controller import ModbusController
from simulators.instruments.modbus_frames import RtuFraming, TcpFraming
from simulators.instruments.modbus_interlocks import ModbusInterlocks
from simulators.instruments.ratio_bridge import RatioBridge
from simulators.instruments.text_bridge import TextBridge
from simulators.instruments.text_lines import AsciiReadout, TextAmbient
from simulators.instruments.text_scanner import TextScanner
from simulators.physics.channel import Channel
from simulators.physics.heat import HeatSource
from simulators.physics.models import MODELS, Constants, scattered
from simulators.physics.noise import generator
from simulators.physics.probe import Probe, ProbeTruth
from simulators.twin import Display, learned_constants, shown_as
from simulators.wire_faults import WIRE_KINDS, FarEnd, FaultyWire

SourceInstrument = AsciiBath | ModbusController


class SceneError(ValueError):
    """The scene cannot be built; the message says what is wrong."""


@dataclass(frozen=True)
class SceneSpec:
    """What stands on the bench.

    `model` is oil_bath, dry_block or furnace; `source_speech` ascii-bath, modbus-rtu or modbus-tcp.
    `start_c` is the source's temperature at the start (the room's when None). `learned`: factors on the
    model's constants instead of a scatter drawn from the seed; `display` likewise. `resistor_ohm`: the bridge
    shows ratios to a standard resistor that really has this, behind a scanner of its own.
    """

    model: str
    seed: int
    probes: tuple[ProbeTruth, ...]
    source_speech: str = "ascii-bath"
    ambient_c: float = 22.0
    ambient_wave_k: float = 1.0
    start_c: float | None = None
    reference_channel: int = 1
    bridge_gain_ppm: float = 0.0
    interlocks_on_serial_line: bool = False
    resistor_ohm: float | None = None
    faults: tuple[Fault, ...] = ()
    learned: tuple[tuple[str, float], ...] = ()
    display: Display | None = None


class Scene:
    """The simulated world. Times are seconds from its start; it never runs backwards.

    Raises SceneError for an unknown model or speech, two probes on one channel or of one serial.
    """

    def __init__(self, spec: SceneSpec) -> None:
        _check(spec)
        self.spec = spec
        constants = _constants(spec)
        self.source = HeatSource(
            constants, self._chance("source"), spec.ambient_c, spec.ambient_wave_k, spec.start_c
        )
        self.probes = {truth.serial: self._probe(truth) for truth in spec.probes}
        self.channels = {probe.truth.channel: Channel(probe) for probe in self.probes.values()}
        self.controller_end = self._source_instrument()
        self.bridge_end, scanner = self._bridge_and_scanner()
        self.readout_end = AsciiReadout(self.source, self.advance, self._chance("readout"))
        self.ambient_end = TextAmbient(self.source, self.advance, self._chance("ambient"))
        framing = RtuFraming() if spec.interlocks_on_serial_line else TcpFraming()
        interlocks = ModbusInterlocks(self.source, self.advance, self._chance("interlocks"), framing)
        far_ends: dict[str, FarEnd] = {"source": self.controller_end, "bridge": self.bridge_end}
        far_ends |= {"readout": self.readout_end, "ambient": self.ambient_end, "interlocks": interlocks}
        far_ends |= {} if scanner is None else {"scanner": scanner}
        self._ends = {name: self._wire(name, end) for name, end in far_ends.items()}
        self._agenda: list[tuple[float, Callable[[], None]]] = actions(self, spec.faults)
        self._next_s = self._agenda[0][0] if self._agenda else math.inf

    @property
    def names(self) -> tuple[str, ...]:
        """The instruments: source, bridge, readout, ambient, interlocks, and scanner where there is one."""
        return tuple(self._ends)

    def instrument(self, name: str) -> FarEnd:
        """The far end of the wire to one of `names`."""
        return self._ends[name]

    def advance(self, now_s: float) -> None:
        """Let time pass up to `now_s`; what breaks on the way breaks at its second."""
        while self._next_s <= now_s:
            self.source.advance(self._next_s)
            _, act = self._agenda.pop(0)
            act()
            self._next_s = self._agenda[0][0] if self._agenda else math.inf
        self.source.advance(now_s)

    def break_later(self, fault: Fault) -> None:
        """One more thing that breaks, later than now; what a wire does is not among it."""
        self._agenda = sorted([*self._agenda, *actions(self, [fault])], key=lambda item: item[0])
        self._next_s = self._agenda[0][0] if self._agenda else math.inf

    def truth(self, serial: str) -> Probe:
        """The probe itself: true temperature, extremes met, settled resistance at any temperature."""
        return self.probes[serial]

    def temperature_c(self, serial: str) -> float:
        """True element temperature in °C at the latest second."""
        return self.probes[serial].temperature_c

    @property
    def heater_energy_j(self) -> float:
        """Electrical energy put into the heater so far, in J."""
        return self.source.heater_energy_j

    @property
    def last_heater_on_s(self) -> float:
        """The latest second in which the heater had power; minus infinity when never."""
        return self.source.last_heater_on_s

    def _chance(self, device: str) -> Random:
        return generator(self.spec.seed, device)

    def _probe(self, truth: ProbeTruth) -> Probe:
        side = self._chance(f"layer/{truth.serial}").uniform(0.5, 1.0) * (-1.0) ** truth.channel
        return Probe(truth, self.source, side * self.source.constants.layering)

    def _source_instrument(self) -> SourceInstrument:
        chance = self._chance("source/wire")
        if self.spec.source_speech == "ascii-bath":
            return AsciiBath(self.source, self.advance, chance)
        framing = RtuFraming() if self.spec.source_speech == "modbus-rtu" else TcpFraming()
        return ModbusController(self.source, self.advance, chance, framing)

    def _bridge_and_scanner(self) -> tuple[TextBridge, TextScanner | None]:
        ohm, chance = self.spec.resistor_ohm, self._chance("bridge")
        if ohm is None:
            return TextBridge(self.channels, self.advance, chance, self.spec.bridge_gain_ppm), None
        bridge = RatioBridge(self.channels, self.advance, chance, ohm)
        return bridge, TextScanner(self.advance, bridge.connect)

    def _wire(self, name: str, end: FarEnd) -> FarEnd:
        faults = [f for f in self.spec.faults if f.kind in WIRE_KINDS and f.value == name]
        return FaultyWire(end, faults, self._chance(f"{name}/faults")) if faults else end


def _constants(spec: SceneSpec) -> Constants:
    if spec.learned:
        return learned_constants(spec.model, dict(spec.learned), spec.display)
    drawn = scattered(MODELS[spec.model], generator(spec.seed, "source/constants"))
    return drawn if spec.display is None else shown_as(drawn, spec.display)


def _check(spec: SceneSpec) -> None:
    if spec.model not in MODELS:
        raise SceneError(f"simulated model {spec.model!r} is unknown; known are {', '.join(MODELS)}")
    if spec.source_speech not in ("ascii-bath", "modbus-rtu", "modbus-tcp"):
        raise SceneError(f"speech {spec.source_speech!r} is not ascii-bath, modbus-rtu or modbus-tcp")
    for what in ("serial", "channel"):
        values = [getattr(truth, what) for truth in spec.probes]
        if len(set(values)) != len(values):
            raise SceneError(f"two simulated probes have the same {what}: {values}")
    _check_faults(spec)


def _check_faults(spec: SceneSpec) -> None:
    connected = {truth.channel for truth in spec.probes}
    for fault in spec.faults:
        if fault.value == "scanner" and spec.resistor_ohm is None:
            raise SceneError(f"fault {fault.kind!r} is about a scanner, but this bridge has its own")
        channel = spec.reference_channel if fault.kind == "reference-drift" else _channel_of(fault)
        if channel is not None and channel not in connected:
            raise SceneError(f"fault {fault.kind!r} is about channel {channel}, but no probe is there")


def _channel_of(fault: Fault) -> int | None:
    """The channel whose probe the fault touches; the scanner's own faults need no probe."""
    touches = KINDS[fault.kind][0].startswith("channel") and fault.kind != "swapped-channels"
    return fault.channel if touches and fault.value != "source" else None
