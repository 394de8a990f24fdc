"""Plan, bench and register joined: what the rest of the program is given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from plans.bench import Bench
from plans.plan import Plan, Point
from plans.probe import Thermometer
from plans.rating import Limit
from plans.register import Register
from plans.settings import Resolved, resolve


@dataclass(frozen=True, slots=True)
class Names:
    """File names for messages and for the record."""

    plan: str = "plan.toml"
    bench: str = "bench.toml"
    register: str = "register.toml"


@dataclass(frozen=True, slots=True)
class Texts:
    """The three TOML texts as read; the run plan can be rebuilt from them alone."""

    plan: str
    bench: str
    register: str


@dataclass(frozen=True, slots=True)
class Rating:
    """Working limits over everything in the source, °C and K/min, each with the thing that set it."""

    highest: Limit
    lowest: Limit
    heating: Limit
    cooling: Limit
    highest_of: tuple[Limit, ...]
    lowest_of: tuple[Limit, ...]

    @property
    def highest_allowed_c(self) -> float:
        """No part may see more."""
        return self.highest.value

    @property
    def lowest_allowed_c(self) -> float:
        """No part may see less."""
        return self.lowest.value


@dataclass(frozen=True)
class RunPlan:
    """A plan that has been read and found consistent; whether it may heat is the pre-check's question."""

    plan: Plan
    bench: Bench
    register: Register
    texts: Texts
    names: Names

    def thermometer(self, serial: str) -> Thermometer:
        """The register's entry; raises KeyError for a serial that is not in the register."""
        found = self.register.find(serial)
        if found is None:
            raise KeyError(serial)
        return found

    @cached_property
    def reference(self) -> Thermometer:
        """The reference thermometer."""
        return self.thermometer(self.plan.reference.serial)

    @cached_property
    def references(self) -> tuple[Thermometer, ...]:
        """The reference first, then the further ones."""
        further = (one.serial for one in self.plan.items if one.role == "further_reference")
        return (self.reference, *(self.thermometer(serial) for serial in further))

    @cached_property
    def items(self) -> tuple[Thermometer, ...]:
        """Items and check standards in plan order."""
        return tuple(self.thermometer(item.serial) for item in self.plan.items)

    @cached_property
    def thermometers(self) -> tuple[Thermometer, ...]:
        """Everything with a sheath in the source: reference first, then the items."""
        return (self.reference, *self.items)

    @cached_property
    def channels(self) -> dict[int, str]:
        """Bridge channel → serial, reference first, then the items in plan order."""
        return {placed.channel: placed.serial for placed in self.plan.placed}

    def immersion_mm(self, serial: str) -> float:
        """Depth of one thermometer in the source."""
        placed = next(one for one in self.plan.placed if one.serial == serial)
        return self.bench.heat_source.immersion_mm if placed.immersion_mm is None else placed.immersion_mm

    def settings(self, point: Point) -> Resolved:
        """Settings of a point with every gap filled."""
        return resolve(point, self.plan.defaults, self.bench.heat_source.kind, point.temperature_c)

    @property
    def zero_settings(self) -> Resolved:
        """Settings of the first and last point."""
        defaults, kind = self.plan.defaults, self.bench.heat_source.kind
        return resolve(defaults, defaults, kind, self.plan.zero.temperature_c)

    @property
    def parking_c(self) -> float:
        """Where the source is left."""
        own = self.plan.finish.parking_c
        return self.bench.heat_source.parking_c if own is None else own

    @property
    def parked_heater(self) -> Literal["off", "on"]:
        """Whether the heater stays on at the end: only to keep molten what would freeze in the room."""
        return "off" if self.bench.molten is None else "on"

    @property
    def visited_c(self) -> tuple[float, ...]:
        """Every temperature at which the run stays, in order: zero, annealing, points, zero."""
        zero = self.plan.zero
        before = (zero.temperature_c,) if zero.first else ()
        after = (zero.temperature_c,) if zero.last else ()
        anneal = () if self.plan.anneal is None else (self.plan.anneal.temperature_c,)
        return (*before, *anneal, *(point.temperature_c for point in self.plan.points), *after)

    @cached_property
    def rating(self) -> Rating:
        """Working limits over thermometers, source and fluid."""
        highest, lowest = limits_over(self.bench, self.thermometers)
        top = max(self.visited_c)
        return Rating(
            highest=min(highest, key=by_value),
            lowest=max(lowest, key=by_value),
            heating=min((one.heating for one in self.thermometers), key=by_value),
            cooling=min((one.cooling_from(top) for one in self.thermometers), key=by_value),
            highest_of=highest,
            lowest_of=lowest,
        )


def limits_over(
    bench: Bench, thermometers: Sequence[Thermometer]
) -> tuple[tuple[Limit, ...], tuple[Limit, ...]]:
    """Every highest and every lowest limit in °C of thermometers, source and fluid."""
    source, fluid = bench.heat_source, bench.fluid
    others = (source,) if fluid is None else (source, fluid)
    highest = (*(one.maximum for one in thermometers), *(one.maximum for one in others))
    lowest = (*(one.minimum for one in thermometers), *(one.minimum for one in others))
    return highest, lowest


def by_value(limit: Limit) -> float:
    """Orders limits by their figure."""
    return limit.value
