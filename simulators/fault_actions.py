"""What each fault does to the simulated bench: for every kind, what happens at its start and at its end."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING

from simulators.faults import Fault
from simulators.instruments import ascii_bath, modbus_controller
from simulators.instruments.ascii_bath import AsciiBath
from simulators.physics.channel import Leads

if TYPE_CHECKING:
    from simulators.scene import Scene

NOISY_FACTOR = 200.0
HEAD_COUPLING = 0.5
OTHER_BATH, OTHER_SERIAL, OTHER_BRIDGE = "EXBATH-0119", 732, "TERN ROCK WORKSHOP,BRIDGE-8,0057,1.0"

Act = Callable[["Scene", Fault, bool], None]


def actions(scene: Scene, faults: Sequence[Fault]) -> list[tuple[float, Callable[[], None]]]:
    """Times and acts, in order: each fault's beginning and, when it has one, its end."""
    agenda: list[tuple[float, Callable[[], None]]] = []
    for fault in faults:
        if act := ACTS.get(fault.kind):
            agenda.append((fault.at_s, partial(act, scene, fault, True)))
            if fault.ends_s < math.inf:
                agenda.append((fault.ends_s, partial(act, scene, fault, False)))
    return sorted(agenda, key=lambda item: item[0])


def _panel_set_point(scene: Scene, fault: Fault, begins: bool) -> None:
    if begins:
        scene.source.controller.write_set_point(fault.number, scene.source.sensor_c)


def _panel_heater_off(scene: Scene, fault: Fault, begins: bool) -> None:
    if begins:
        scene.source.controller.heater_on = False


def _lost_write(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.controller_end.deaf_to_writes = begins


def _stuck_relay(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.source.stuck_relay = begins


def _heater_open(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.source.power_factor = 0.0 if begins else 1.0


def _weak_heater(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.source.power_factor = fault.number if begins else 1.0


def _bad_control(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.source.controller.gain_factor = fault.number if begins else 1.0


def _sensor_detached(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.source.sensor_detached = begins


def _display_drift(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.source.controller.display_drift_k_per_min = fault.number if begins else 0.0


def _stirrer_stop(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.source.stirrer_on = not begins


def _level_low(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.source.level_low = begins


def _over_temperature(scene: Scene, fault: Fault, begins: bool) -> None:
    if begins:
        scene.source.over_temperature = True


def _fan_stuck(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.source.stuck_cooling = begins


def _cooling_stop(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.source.cooling_failed = begins


def _cold_load(scene: Scene, fault: Fault, begins: bool) -> None:
    if begins:
        scene.source.chill(fault.number)


def _brown_out(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.source.powered = scene.source.stirrer_on = not begins
    if not begins:
        scene.source.restart()


def _reset(scene: Scene, fault: Fault, begins: bool) -> None:
    if begins and fault.value == "bridge":
        scene.bridge_end.restart()
    elif begins:
        scene.source.restart()


def _open_lead(scene: Scene, fault: Fault, begins: bool) -> None:
    _set_leads(scene, fault.channel, Leads.OPEN if begins else Leads.GOOD)


def _short(scene: Scene, fault: Fault, begins: bool) -> None:
    _set_leads(scene, fault.channel, Leads.SHORT if begins else Leads.GOOD)


def _set_leads(scene: Scene, channel: int, leads: Leads) -> None:
    scene.channels[channel].leads = leads


def _noisy(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.channels[fault.channel].noise_factor = NOISY_FACTOR if begins else 1.0


def _step(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.channels[fault.channel].step_k += fault.number if begins else -fault.number


def _reference_drift(scene: Scene, fault: Fault, begins: bool) -> None:
    channel = scene.channels[scene.spec.reference_channel]
    channel.drift_from_s = fault.at_s
    channel.drift_k_per_min = fault.number if begins else 0.0


def _probe_pulled(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.channels[fault.channel].probe.pulled = begins


def _swapped_channels(scene: Scene, fault: Fault, begins: bool) -> None:
    first, second = fault.channel, int(fault.number)
    wiring = scene.bridge_end.wiring
    wiring[first], wiring[second] = wiring[second], wiring[first]


def _head_hot(scene: Scene, fault: Fault, begins: bool) -> None:
    for probe in scene.probes.values():
        if probe.truth.coupling < HEAD_COUPLING:
            probe.warm(fault.number if begins else -fault.number)


def _humid_room(scene: Scene, fault: Fault, begins: bool) -> None:
    scene.ambient_end.damp_percent = min(max(fault.number, 0.0), 100.0) if begins else None


def _frozen_reading(scene: Scene, fault: Fault, begins: bool) -> None:
    if fault.value == "source":
        scene.controller_end.frozen = begins
    elif begins:
        scene.bridge_end.frozen.add(fault.channel)
    else:
        scene.bridge_end.frozen.discard(fault.channel)


def _wrong_identity(scene: Scene, fault: Fault, begins: bool) -> None:
    if fault.value == "bridge":
        scene.bridge_end.identity = OTHER_BRIDGE if begins else scene.bridge_end.own_identity
    elif isinstance(scene.controller_end, AsciiBath):
        scene.controller_end.identity = OTHER_BATH if begins else ascii_bath.IDENTITY
    else:
        scene.controller_end.serial = OTHER_SERIAL if begins else modbus_controller.SERIAL


ACTS: dict[str, Act] = {
    "panel-set-point": _panel_set_point,
    "panel-heater-off": _panel_heater_off,
    "lost-write": _lost_write,
    "stuck-relay": _stuck_relay,
    "heater-open": _heater_open,
    "weak-heater": _weak_heater,
    "bad-control": _bad_control,
    "controller-sensor-detached": _sensor_detached,
    "display-drift": _display_drift,
    "stirrer-stop": _stirrer_stop,
    "level-low": _level_low,
    "over-temperature": _over_temperature,
    "fan-stuck": _fan_stuck,
    "cooling-stop": _cooling_stop,
    "cold-load": _cold_load,
    "brown-out": _brown_out,
    "reset": _reset,
    "open-lead": _open_lead,
    "short": _short,
    "noisy": _noisy,
    "step": _step,
    "reference-drift": _reference_drift,
    "probe-pulled": _probe_pulled,
    "swapped-channels": _swapped_channels,
    "head-hot": _head_hot,
    "humid-room": _humid_room,
    "frozen-reading": _frozen_reading,
    "wrong-identity": _wrong_identity,
}
