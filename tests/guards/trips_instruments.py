"""Numbers of the guards that watch instruments, the computer and the clock of the night."""

from __future__ import annotations

from daemon.guards.verdict import Reaction as R
from daemon.observations import Machine
from tests.guards.trip import HEALTHY, Trip, at, bad_reading, both, frozen, late
from tests.guards.watched import World, constant, ramp

INSTRUMENTS = [
    Trip(
        "reference_fault", R.PARK, World(readings=bad_reading(1)), World(readings=bad_reading(2, 3)), 110, 130
    ),
    Trip("item_fault", R.MARK, World(readings=bad_reading(2)), World(readings=bad_reading(1)), 110, 130),
    Trip(
        "all_items_fault", R.HOLD, World(readings=bad_reading(2, 3)), World(readings=bad_reading(2)), 100, 110
    ),
    Trip(
        "jump",
        R.HOLD,
        World(reference=at(700, 100.0, 106.0)),
        World(reference=lambda s: 115.0 if 700 <= s < 708 else 100.0),
        700,
        730,
    ),
    Trip(
        "item_jump",
        R.MARK,
        World(items={2: at(700, 100.0, 106.0)}),
        World(reference=at(700, 100.0, 115.0), items={2: constant(100.0), 3: constant(100.0)}),
        700,
        730,
    ),
    Trip("frozen_reference", R.PARK, World(readings=frozen(1)), World(readings=frozen(2)), 240, 280),
    Trip("frozen_reading", R.PARK, World(readings=frozen(2)), World(readings=frozen(1)), 240, 280),
    Trip(
        "frozen_against_reference",
        R.PARK,
        World(**both(ramp(100.0, 2.0)), readings=frozen(2)),
        World(readings=frozen(2)),
        130,
        180,
    ),
    Trip("frozen_controller", R.PARK, World(reference=ramp(100.0, 2.0)), World(noise_k=0.0), 59, 75),
    Trip(
        "silence",
        R.HOLD,
        World(silent=lambda s: "source" if s > 100 else ""),
        World(silent=lambda s: "source" if 100 < s < 109 else ""),
        110,
        113,
    ),
    Trip(
        "silence",
        R.HOLD,
        World(silent=lambda s: "bridge" if s > 100 else ""),
        World(silent=lambda s: "bridge" if 100 < s < 112 else ""),
        114,
        126,
    ),
    Trip("controller_unseen", R.MARK, World(silent=lambda s: "source" if s > 100 else ""), HEALTHY, 130, 133),
    Trip(
        "reference_lost",
        R.PARK,
        World(silent=lambda s: "bridge" if s > 100 else ""),
        World(silent=lambda s: "bridge" if 100 < s < 160 else ""),
        165,
        175,
    ),
    Trip(
        "source_lost",
        R.CUT,
        World(silent=lambda s: "source" if s > 100 else ""),
        World(silent=lambda s: "source" if 100 < s < 690 else ""),
        700,
        703,
    ),
    Trip(
        "source_came_back",
        R.PARK,
        World(silent=lambda s: "source" if 100 < s < 140 else ""),
        World(silent=lambda s: "source" if 100 < s < 125 else ""),
        140,
        141,
    ),
    Trip(
        "replaced",
        R.HOLD,
        World(silent=lambda s: "source" if s > 100 else "", error="WrongIdentity"),
        World(silent=lambda s: "source" if s > 100 else ""),
        101,
        102,
    ),
    Trip(
        "restarted",
        R.HOLD,
        World(silent=lambda s: "source" if s > 100 else "", error="Restarted"),
        World(silent=lambda s: "source" if s > 100 else ""),
        101,
        102,
    ),
    Trip(
        "garbled",
        R.HOLD,
        World(silent=lambda s: "source" if s > 100 else ""),
        World(silent=lambda s: "source" if 100 < s < 105 else ""),
        105,
        106,
    ),
    Trip(
        "clock_jump",
        R.MARK,
        World(machine=lambda s: Machine(s, wall_step_s=3600.0 if s == 120 else 0.0)),
        World(machine=lambda s: Machine(s, wall_step_s=1.0)),
        120,
        121,
    ),
    Trip("late_loop", R.MARK, World(machine=late(1.5, 5)), World(machine=late(1.5, 4)), 360, 361),
    Trip(
        "asleep",
        R.HOLD,
        World(machine=lambda s: Machine(s, asleep_s=61.0 if s == 120 else 0.0)),
        World(machine=late(59.0)),
        120,
        121,
    ),
    Trip(
        "on_battery",
        R.PARK,
        World(machine=lambda s: Machine(s, on_battery=True, charge_percent=90.0)),
        World(machine=lambda s: Machine(s, on_battery=s == 120, charge_percent=90.0)),
        60,
        61,
    ),
    Trip(
        "on_battery",
        R.PARK,
        World(machine=lambda s: Machine(s, on_battery=s >= 120, charge_percent=49.0)),
        World(machine=lambda s: Machine(s, on_battery=False, charge_percent=49.0)),
        119,
        121,
    ),
    Trip(
        "disk_nearly_full",
        R.MARK,
        World(machine=lambda s: Machine(s, free_mib=511.0)),
        World(machine=lambda s: Machine(s, free_mib=513.0)),
        60,
        61,
    ),
    Trip(
        "disk_full",
        R.HOLD,
        World(machine=lambda s: Machine(s, free_mib=127.0)),
        World(machine=lambda s: Machine(s, free_mib=129.0)),
        60,
        61,
    ),
    Trip(
        "record_not_written",
        R.PARK,
        World(machine=lambda s: Machine(s, storage="disk full" if s == 120 else "")),
        HEALTHY,
        120,
        121,
    ),
    Trip("no_progress", R.PARK, HEALTHY, World(heater_commanded=False), 5000, 5002, 5010),
    Trip("run_too_long", R.PARK, HEALTHY, World(heater_commanded=False), 8000, 8002, 8010),
]
