"""What past nights have taught of a bench: its timing, its display, its source and the lags of its probes.

Written by `learn`, read by `check` and `rehearse`. It moves the clock and the simulation, never a limit.
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field

from plans.values import Celsius, FileName, Name, Serial, SourceKind, Table

Count = Annotated[int, Field(ge=0, le=1_000_000)]
Duration = Annotated[float, Field(ge=0.0, le=4 * 86400.0)]
Share = Annotated[float, Field(gt=0.0, le=100.0)]
Offset = Annotated[float, Field(ge=-10_000.0, le=10_000.0)]
Uncertainty = Annotated[float, Field(ge=0.0, le=1000.0)]

Part = Literal["heat_capacity", "exchange", "loss", "coolant", "gain", "integral"]
"""What the simulated source of this kind is scaled by to answer as the real one did; 1 is as shipped."""


class Direction(Table):
    """Approaches one way: time over time by the ramp, s from arrival to rest after a long ramp, scatter."""

    approach_ratio: Share
    settling_s: Duration
    scatter_s: Duration
    points: Count


class Cooling(Table):
    """The fastest it cools: (t − `towards_c`) / `time_constant_s`, whatever ramp is ordered."""

    towards_c: Celsius
    time_constant_s: Annotated[float, Field(gt=0.0, le=10 * 86400.0)]


class Timing(Table):
    """How long the bench really takes; `lead_in_s`: from the start until it sets out for the first point.

    `small_step_s`: by so much an e times smaller disturbance comes to rest sooner; a ramp longer than some
    kelvins always ends in the same disturbance. `hotter_s`: by so much a point at 200 °C comes to rest later
    than one at 100 °C, for which `settling_s` stands.
    """

    lead_in_s: Duration
    small_step_s: Duration = 0.0
    hotter_s: Offset = 0.0
    cooling: Cooling | None = None
    rising: Direction | None = None
    falling: Direction | None = None

    def towards(self, rising: bool) -> Direction | None:
        """The way asked for, or the other one where only that was ever seen."""
        return (self.rising or self.falling) if rising else (self.falling or self.rising)


class Figure(Table):
    """A learned value with its standard uncertainty, both in the unit that the key says."""

    value: Offset
    u: Uncertainty


class Display(Table):
    """Controller minus reference: offset at 0 °C in K, slope in K/K, and its scatter at rest in mK."""

    offset_k: Figure
    slope: Figure
    scatter_mk: Annotated[float, Field(ge=0.0, le=100_000.0)]


class Source(Table):
    """Fastest sustained rates in K/min, and how far it swung past its set-point in K."""

    heating_k_per_min: Figure | None = None
    cooling_k_per_min: Figure | None = None
    overshoot_k: Figure | None = None


class Lag(Table):
    """Time constant of one thermometer behind the source's display, in s."""

    serial: Serial
    lag_s: Figure


class About(Table):
    """From which records, of which bench."""

    bench: Name
    kind: SourceKind
    simulated: bool
    records: Annotated[tuple[FileName, ...], Field(min_length=1)]
    until_utc: datetime


class Learned(Table):
    """bench.learned.toml."""

    about: About = Field(alias="learned")
    timing: Timing
    display: Display | None = None
    source: Source = Source()
    probes: tuple[Lag, ...] = ()
    response: dict[Part, Figure] = Field(default_factory=dict)
