"""What holds at one point: the point's own word, else [defaults], else the figure for this kind of source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

from plans.plan import OnTimeout, Settings
from plans.values import SourceKind

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Equilibrium:
    """Stable: over one window the reference's drift and scatter and item minus reference stay within.

    The soak begins when no more than `remaining_mk` of the transient is left.
    """

    window_s: float
    drift_mk: float
    scatter_mk: float
    item_drift_mk: float
    remaining_mk: float


@dataclass(frozen=True, slots=True)
class Sequence:
    """`cycles` times through all channels and back; each visit discards some readings, then keeps some.

    With `reverse_current` it does so for either way of the current.
    """

    cycles: int
    readings_per_visit: int
    discard_after_switch: int
    reverse_current: bool = False

    @property
    def readings_a_visit(self) -> int:
        """All readings of one visit to a channel, the discarded ones too."""
        ways = 2 if self.reverse_current else 1
        return ways * (self.readings_per_visit + self.discard_after_switch)

    @property
    def readings_per_thermometer(self) -> int:
        """Kept readings of one channel at one point."""
        return self.cycles * 2 * self.readings_per_visit


@dataclass(frozen=True, slots=True)
class Resolved:
    """All settings of one point, nothing left open; times in s, ramp in K/min, current in mA."""

    ramp_k_per_min: float
    current_ma: float
    soak_s: float
    maximum_wait_s: float
    on_timeout: OnTimeout
    equilibrium: Equilibrium
    sequence: Sequence


@dataclass(frozen=True, slots=True)
class Usual:
    """Default figures of one kind of source; all common practice, no source."""

    drift_mk: float
    scatter_mk: float
    item_drift_mk: float
    remaining_mk: float
    soak_minutes: float
    wait_minutes: float
    ramp_k_per_min: float


COOL_BATH = Usual(2.0, 1.0, 1.0, 3.0, 15.0, 120.0, 1.0)
HOT_BATH = Usual(5.0, 3.0, 2.0, 5.0, 20.0, 180.0, 1.0)
BLOCK = Usual(10.0, 5.0, 5.0, 10.0, 30.0, 180.0, 3.0)
FURNACE = Usual(30.0, 15.0, 10.0, 30.0, 45.0, 300.0, 3.0)
WINDOW_MINUTES = 10.0
COOL_BATH_UP_TO_C = 100.0
CURRENT_MA = 1.0


def usual(kind: SourceKind, temperature_c: float) -> Usual:
    """The default figures for a source at a temperature."""
    if kind == "stirred_bath":
        return COOL_BATH if temperature_c <= COOL_BATH_UP_TO_C else HOT_BATH
    return BLOCK if kind == "dry_block" else FURNACE


def resolve(own: Settings, defaults: Settings, kind: SourceKind, temperature_c: float) -> Resolved:
    """Settings of one point with every gap filled."""
    figures = usual(kind, temperature_c)
    soak = first(own.minimum_soak_minutes, defaults.minimum_soak_minutes, figures.soak_minutes)
    wait = first(own.maximum_wait_minutes, defaults.maximum_wait_minutes, figures.wait_minutes)
    return Resolved(
        ramp_k_per_min=first(own.ramp_k_per_min, defaults.ramp_k_per_min, figures.ramp_k_per_min),
        current_ma=first(own.current_ma, defaults.current_ma, CURRENT_MA),
        soak_s=60.0 * soak,
        maximum_wait_s=60.0 * wait,
        on_timeout=first(own.on_timeout, defaults.on_timeout, "take_and_mark"),
        equilibrium=_equilibrium(own, defaults, figures),
        sequence=_sequence(own, defaults),
    )


def first(own: T | None, default: T | None, figure: T) -> T:
    """The point's own value, else the plan's default, else the usual figure."""
    if own is not None:
        return own
    return figure if default is None else default


def _equilibrium(own: Settings, defaults: Settings, figures: Usual) -> Equilibrium:
    here, plan = own.equilibrium, defaults.equilibrium
    return Equilibrium(
        window_s=60.0 * first(here.window_minutes, plan.window_minutes, WINDOW_MINUTES),
        drift_mk=first(here.drift_mk, plan.drift_mk, figures.drift_mk),
        scatter_mk=first(here.scatter_mk, plan.scatter_mk, figures.scatter_mk),
        item_drift_mk=first(here.item_drift_mk, plan.item_drift_mk, figures.item_drift_mk),
        remaining_mk=first(here.remaining_mk, plan.remaining_mk, figures.remaining_mk),
    )


def _sequence(own: Settings, defaults: Settings) -> Sequence:
    here, plan = own.sequence, defaults.sequence
    return Sequence(
        cycles=first(here.cycles, plan.cycles, 3),
        readings_per_visit=first(here.readings_per_visit, plan.readings_per_visit, 4),
        discard_after_switch=first(here.discard_after_switch, plan.discard_after_switch, 1),
        reverse_current=first(here.reverse_current, plan.reverse_current, False),
    )
