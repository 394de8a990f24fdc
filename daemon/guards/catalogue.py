"""Every guard there is, in the order they judge."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from daemon.guards.condensation import Condensation
from daemon.guards.cooling import CoolingLost, NoFall
from daemon.guards.frozen_reading import (
    FrozenAgainstReference,
    FrozenController,
    FrozenReading,
    FrozenReference,
)
from daemon.guards.guard import Guard, LoosenedThreshold
from daemon.guards.head_temperature import HeadHot, HeadWarm
from daemon.guards.heater_output import OutputJumped
from daemon.guards.left_band import LeftBand, Oscillation
from daemon.guards.lost_source import BothUntrusted, InstrumentRestarted, Replaced, SourceCameBack, SourceLost
from daemon.guards.machine import (
    Asleep,
    ClockJump,
    DiskFull,
    DiskNearlyFull,
    DiskStalls,
    LateLoop,
    OnBattery,
    RecordNotWritten,
    SlowDisk,
)
from daemon.guards.monitored import InterlocksLost, ReadoutOverLimit
from daemon.guards.over_limit import OverLimit, OverLimitPredicted
from daemon.guards.parking import ParkingTooSlow, RisingWhileParking
from daemon.guards.probe_place import Gradient, ItemAway, ProbePulled
from daemon.guards.progress import NoProgress, NoRise, RunTooLong
from daemon.guards.rates import FallingTooFast, RisingTooFast
from daemon.guards.reference_against_controller import ControllerReadsLow, ReferenceAgainstController
from daemon.guards.references_apart import ReferencesApart, ReferencesFarApart
from daemon.guards.runaway import HeatUnasked, Runaway
from daemon.guards.sensor_fault import AllItemsFault, ItemFault, ItemJump, Jump, ReferenceFault
from daemon.guards.set_point_readback import SetPointReadback
from daemon.guards.silence import ControllerUnseen, Garbled, ReferenceLost, Silence
from daemon.guards.source_state import (
    HeaterSwitchReadback,
    LevelLow,
    OverTemperature,
    StirrerStopped,
    StirrerStoppedCold,
)
from daemon.guards.under_limit import UnderLimit

GUARDS: tuple[type[Guard], ...] = (
    OverLimit,
    OverLimitPredicted,
    UnderLimit,
    Runaway,
    HeatUnasked,
    SetPointReadback,
    HeaterSwitchReadback,
    RisingTooFast,
    FallingTooFast,
    NoRise,
    NoFall,
    CoolingLost,
    OutputJumped,
    ReferenceAgainstController,
    ControllerReadsLow,
    ReferencesApart,
    ReferencesFarApart,
    LeftBand,
    Oscillation,
    Gradient,
    ItemAway,
    ProbePulled,
    StirrerStopped,
    StirrerStoppedCold,
    LevelLow,
    InterlocksLost,
    ReadoutOverLimit,
    OverTemperature,
    HeadHot,
    HeadWarm,
    Condensation,
    NoProgress,
    RunTooLong,
    RisingWhileParking,
    ParkingTooSlow,
    ReferenceFault,
    ItemFault,
    AllItemsFault,
    Jump,
    ItemJump,
    FrozenReference,
    FrozenReading,
    FrozenAgainstReference,
    FrozenController,
    Silence,
    ControllerUnseen,
    ReferenceLost,
    SourceLost,
    SourceCameBack,
    Replaced,
    InstrumentRestarted,
    Garbled,
    BothUntrusted,
    ClockJump,
    LateLoop,
    Asleep,
    DiskNearlyFull,
    DiskFull,
    RecordNotWritten,
    SlowDisk,
    DiskStalls,
    OnBattery,
)


def make_guards(changed: Mapping[str, Mapping[str, float]] | None = None) -> list[Guard]:
    """Fresh guards with a plan's tightened figures; raises LoosenedThreshold."""
    changed = changed or {}
    names = {guard.name for guard in GUARDS}
    for name in changed:
        if name not in names:
            raise LoosenedThreshold(f"there is no guard {name!r}; there are: {', '.join(sorted(names))}")
    return [guard(dict(changed.get(guard.name, {}))) for guard in GUARDS]


def describe(guard: type[Guard]) -> dict[str, Any]:
    """A guard as plain data for lists and documents."""
    return {
        "name": guard.name,
        "hazard": guard.hazard,
        "reads": guard.reads,
        "reaction": guard.reaction.word,
        "latched": guard.latched,
        "why": guard.why,
        "source": guard.source,
        "thresholds": {
            key: {"default": t.default, "unit": t.unit, "stricter": t.stricter}
            for key, t in guard.thresholds.items()
        },
    }
