"""Bridge, scanner and what stands beside, opened from the bench file."""

from __future__ import annotations

from daemon.executor.instruments import Monitor
from drivers.bridge import BridgeSettings
from drivers.errors import BadProfile
from drivers.lines import Lines
from drivers.registry import open_ambient, open_bridge, open_interlocks, open_readout, open_scanner
from drivers.roles import Bridge
from drivers.scanned_bridge import ScannedBridge
from plans.bench import Bench
from plans.bench import Bridge as BridgeFacts

INTERLOCKS_EVERY_S = 1.0
READOUT_EVERY_S = 5.0
AMBIENT_EVERY_S = 60.0


def settings_of(facts: BridgeFacts) -> BridgeSettings:
    """What the bench file chooses of its bridge."""
    resistor_ohm = None if facts.resistor is None else facts.resistor.ohm
    return BridgeSettings(resistor_ohm, facts.range_ohm, facts.integration_s)


def bridge_of(bench: Bench, lines: Lines) -> Bridge:
    """The bridge, with the bench's scanner in front of it where there is one.

    Nothing is sent yet; raises BadProfile, OutsideLimits.
    """
    facts = bench.bridge
    bridge = open_bridge(facts.profile, facts.address, lines.clock, lines=lines, settings=settings_of(facts))
    if bench.scanner is None:
        return bridge
    if bridge.capabilities.channels != 1:
        raise BadProfile(
            f"{facts.profile} switches channels of its own: take [scanner] out of the bench file"
        )
    scanner = open_scanner(bench.scanner.profile, bench.scanner.address, lines)
    return ScannedBridge(bridge, scanner, lines.clock)


def monitors_of(bench: Bench, lines: Lines) -> tuple[Monitor, ...]:
    """Those that the bench has, nothing sent yet; raises BadProfile."""
    monitors = []
    if bench.interlocks is not None:
        interlocks = open_interlocks(bench.interlocks.profile, bench.interlocks.address, lines)
        monitors.append(Monitor("interlocks", interlocks, interlocks.states, INTERLOCKS_EVERY_S))
    if bench.readout is not None:
        readout = open_readout(bench.readout.profile, bench.readout.address, lines)
        monitors.append(Monitor("readout", readout, readout.temperatures, READOUT_EVERY_S))
    if bench.ambient is not None:
        ambient = open_ambient(bench.ambient.profile, bench.ambient.address, lines)
        monitors.append(Monitor("ambient", ambient, ambient.conditions, AMBIENT_EVERY_S))
    return tuple(monitors)
