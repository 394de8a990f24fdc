"""The instruments beside heat source and bridge, opened from the bench file."""

from __future__ import annotations

from daemon.executor.instruments import Monitor
from drivers.lines import Lines
from drivers.registry import open_ambient, open_interlocks, open_readout
from plans.bench import Bench

INTERLOCKS_EVERY_S = 1.0
READOUT_EVERY_S = 5.0
AMBIENT_EVERY_S = 60.0


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
