"""Numbers of the guards that judge what stands beside the heat source: interlocks, a second thermometer."""

from __future__ import annotations

from daemon.guards.verdict import Reaction as R
from tests.guards.trip import Trip, ambient, both, interlocks, interlocks_until, readout
from tests.guards.watched import HIGHEST_C, World, constant

# At 22 °C and 60 % the dew point is 13.9 °C.
DAMP = {**both(constant(-10.0)), "set_point_c": -10.0, "beside": ambient(22.0, 60.0)}
COLD = {**both(constant(30.0)), "output": constant(0.0)}

BESIDE = [
    Trip(
        "stirrer_stopped",
        R.CUT,
        World(beside=interlocks(stirrer=False)),
        World(beside=interlocks()),
        101,
        103,
    ),
    Trip(
        "stirrer_stopped",
        R.CUT,
        World(beside=interlocks(stirrer_speed=99.0)),
        World(beside=interlocks(stirrer_speed=101.0)),
        101,
        103,
    ),
    Trip(
        "stirrer_stopped",
        R.CUT,
        World(beside=interlocks(stirrer_speed=None)),
        World(**COLD, beside=interlocks(stirrer_speed=None)),
        101,
        103,
    ),
    Trip(
        "stirrer_stopped_cold",
        R.HOLD,
        World(**COLD, beside=interlocks(stirrer=False)),
        World(**COLD, beside=interlocks()),
        101,
        103,
    ),
    Trip("level_low", R.CUT, World(beside=interlocks(level_low=True)), World(beside=interlocks()), 101, 103),
    Trip(
        "level_low",
        R.CUT,
        World(beside=interlocks(level=89.9)),
        World(beside=interlocks(level=90.1)),
        101,
        103,
    ),
    Trip(
        "interlocks_lost",
        R.PARK,
        World(beside=interlocks_until(100.0)),
        World(beside=interlocks_until(100.0, 130.0)),
        130,
        133,
    ),
    Trip(
        "readout_over_limit",
        R.CUT,
        World(beside=readout(HIGHEST_C + 0.1)),
        World(beside=readout(HIGHEST_C + 0.1, HIGHEST_C - 0.1)),
        101,
        101,
    ),
    Trip(
        "readout_over_limit",
        R.CUT,
        World(beside=readout(HIGHEST_C + 0.1)),
        World(beside=readout(None)),
        101,
        101,
    ),
    Trip(
        "condensation",
        R.MARK,
        World(**DAMP, head=constant(15.0)),
        World(**DAMP, head=constant(16.5)),
        1,
        10,
    ),
    Trip(
        "condensation",
        R.MARK,
        World(**DAMP, head=constant(13.0)),
        World(**both(constant(20.0)), set_point_c=20.0, beside=ambient(22.0, 60.0), head=constant(13.0)),
        1,
        10,
    ),
]
