"""A bench made of functions of time, seen through one guard: who speaks, and when."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from daemon.actions import SwitchHeater, WriteRamp, WriteSetPoint
from daemon.channels import Certificate, ChannelFacts
from daemon.guards.guard import Guard
from daemon.guards.panel import GuardPanel
from daemon.guards.situation import Limits, Situation
from daemon.guards.verdict import Verdict
from daemon.observations import Failed, Machine, Monitored, Observation, Resistance, Source
from daemon.states import State
from drivers.quantities import Quality, Reading
from drivers.roles import HeatSourceCapabilities, SourceStatus

OfTime = Callable[[float], float]
HIGHEST_C, LOWEST_C, HEATING, COOLING, COAST_S, PARKING_C = 200.0, -20.0, 3.0, 4.0, 60.0, 40.0
LONGEST_POINT_S, LONGEST_RUN_S = 5000.0, 8000.0
ITEMS = (2, 3)
FURTHER, HEAD = 4, 8
CERTIFIED_MK, PLACES_MK = 4.0, 6.0


def constant(value: float) -> OfTime:
    """Always the same."""
    return lambda when_s: value


def ramp(value: float, k_per_min: float, from_s: float = 0.0, until: float | None = None) -> OfTime:
    """From `value` on at a rate, held at `until` when that is reached."""

    def at(when_s: float) -> float:
        now = value + k_per_min * max(0.0, when_s - from_s) / 60.0
        if until is None:
            return now
        return min(now, until) if k_per_min > 0 else max(now, until)

    return at


@dataclass
class World:
    """What is true and shown at each second; None for a device means that it is silent."""

    reference: OfTime | None = field(default=constant(100.0))
    controller: OfTime | None = field(default=constant(100.0))
    items: Mapping[int, OfTime] = field(default_factory=dict)
    further: OfTime | None = None
    head: OfTime = field(default=constant(30.0))
    set_point_c: float = 100.0
    set_point_read: OfTime | None = None
    commanded_at_s: float = 0.0
    ramp_k_per_min: float = 2.0
    output: OfTime = field(default=constant(30.0))
    heater_commanded: bool | None = True
    flags: Callable[[float], dict[str, bool]] = lambda when_s: {}
    state: State = State.RUNNING
    noise_k: float = 0.001
    machine: Callable[[float], Machine] = Machine
    readings: Callable[[float, int, float], Reading] | None = None
    beside: Callable[[float], Monitored | None] = lambda when_s: None
    silent: Callable[[float], str] = lambda when_s: ""
    error: str = "LinkLost"


def situation_of(world: World) -> Situation:
    """The situation of a run in which `world` is found."""
    limits = Limits(
        HIGHEST_C, "probe A", LOWEST_C, "probe B", HEATING, COOLING, lambda t: COOLING, COAST_S, PARKING_C,
        LONGEST_POINT_S, LONGEST_RUN_S, 12.0, places_mk=lambda t: PLACES_MK,
        minimum_stirrer_speed_per_min=100.0, minimum_level_mm=90.0,
    )  # fmt: skip
    roles = {1: "reference", 2: "item", 3: "check_standard", HEAD: "head"}
    certificates = {}
    if world.further is not None:
        roles[FURTHER] = "further_reference"
        certificates = dict.fromkeys((1, FURTHER), Certificate(_celsius, CERTIFIED_MK))
    channels = {
        c: ChannelFacts(c, f"T-{c}", role, 100.0, _celsius, 0.5, -50.0, 80.0, certificate=certificates.get(c))
        for c, role in roles.items()
    }
    capabilities = HeatSourceCapabilities(-40.0, 300.0, 0.01, ramp=True, heater_switch=True)
    situation = Situation(limits, channels, capabilities)
    situation.enter(State.RUNNING, 0.0)
    if world.state is not State.RUNNING:
        situation.enter(world.state, 0.0)
    situation.command(WriteRamp(world.ramp_k_per_min), world.commanded_at_s)
    situation.command(WriteSetPoint(world.set_point_c), world.commanded_at_s)
    if world.heater_commanded is not None:
        situation.command(SwitchHeater(world.heater_commanded), world.commanded_at_s)
    return situation


def observations(world: World, seconds: float, seed: int = 1) -> Sequence[Observation]:
    """A look each second, a reading of the next channel every two seconds, a report each minute."""
    chance, seen = random.Random(seed), []
    channels = (1, *ITEMS, HEAD) if world.further is None else (1, *ITEMS, FURTHER, HEAD)
    for second in range(int(seconds)):
        when_s = float(second)
        silent = world.silent(when_s)
        if "source" in silent or world.controller is None:
            seen.append(Failed(when_s, "source", "no answer", world.error))
        else:
            seen.append(_look(world, when_s))
        if (beside := world.beside(when_s)) is not None:
            seen.append(beside)
        if second % 2 == 0:
            channel = channels[second // 2 % len(channels)]
            seen.append(_reading(world, when_s, channel, chance, "bridge" in silent))
        if second % 60 == 0:
            seen.append(world.machine(when_s))
    return seen


def first_word(guards: Sequence[Guard], world: World, seconds: float) -> tuple[float, Verdict] | None:
    """When the first of `guards` speaks, and what it says; None when all is quiet."""
    panel = GuardPanel(list(guards), situation_of(world))
    for observation in observations(world, seconds):
        verdicts = panel.judge(observation)
        if verdicts:
            return panel.situation.now_s, verdicts[0]
    return None


def _celsius(ohm: float) -> float:
    return (ohm - 100.0) / 0.4


def _look(world: World, when_s: float) -> Source:
    assert world.controller is not None
    set_point = world.set_point_read(when_s) if world.set_point_read else world.set_point_c
    flags = {"heater_on": bool(world.heater_commanded)} | world.flags(when_s)
    status = SourceStatus(
        when_s,
        Reading(world.controller(when_s), "degC", when_s),
        Reading(set_point, "degC", when_s),
        output_percent=world.output(when_s),
        **flags,
    )
    return Source(when_s, status)


def _reading(world: World, when_s: float, channel: int, chance: random.Random, mute: bool) -> Observation:
    if mute or world.reference is None:
        return Failed(when_s, "bridge", "no answer", world.error)
    own = {HEAD: world.head, FURTHER: world.further or world.reference}.get(
        channel, world.items.get(channel, world.reference)
    )
    ohm = 100.0 + 0.4 * (own(when_s) + chance.gauss(0.0, world.noise_k))
    reading = Reading(ohm, "ohm", when_s)
    if world.readings is not None:
        reading = world.readings(when_s, channel, ohm)
    return Resistance(when_s, channel, 1.0, reading)


def absent_reading(when_s: float) -> Reading:
    """What an open lead gives."""
    return Reading(None, "ohm", when_s, Quality.ABSENT, "", "over range")
