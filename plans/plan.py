"""The run plan: which thermometers, at which temperatures, in which order, judged how."""

from __future__ import annotations

from datetime import date as Day
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from plans.values import (
    Celsius,
    Channel,
    FileName,
    MilliAmpere,
    MilliKelvin,
    Millimetre,
    Minutes,
    Name,
    Rate,
    Serial,
    Table,
    Text,
)

MOST_POINTS = 200
MOST_STEPS_OUT = 3
FEWEST_READINGS = 10  # common practice, no source: per thermometer and point
OnTimeout = Literal["take_and_mark", "skip", "end"]


class PlanHeader(Table):
    """[plan]: `bench` and `register` are files, relative to the plan's; the points keep to `order`."""

    title: Name
    bench: FileName
    register_file: FileName = Field(alias="register")
    order: Literal["ascending", "descending", "up_and_down", "custom"]
    order_reason: Text = ""

    @model_validator(mode="after")
    def _own_order_has_a_reason(self) -> Self:
        if self.order == "custom" and not self.order_reason.strip():
            raise ValueError(
                'order = "custom" needs order_reason: one sentence for the person who reads the report.'
            )
        return self


class Placed(Table):
    """A thermometer in the source: its channel, and its depth where it differs from the bench's.

    `settling_s`: how long its readings are discarded after a switch, where it needs longer than others.
    """

    serial: Serial
    channel: Channel
    immersion_mm: Millimetre | None = None
    settling_s: Annotated[float, Field(ge=0.0, le=600.0)] = 0.0


class Item(Placed):
    """[[items]]: a thermometer to calibrate, the check standard, or a further reference.

    With further references the mean of all is the temperature, and their disagreement is part of the budget.
    """

    role: Literal["item", "check_standard", "further_reference"] = "item"


class EquilibriumTable(Table):
    """What counts as stable; a key left out is set by the kind of source and the temperature.

    Over the window: the reference's drift and scatter, each item's drift against the reference; before the
    soak no more than `remaining_mk` of the approach may be left.
    """

    window_minutes: Annotated[float, Field(ge=1.0, le=240.0)] | None = None
    drift_mk: MilliKelvin | None = None
    scatter_mk: MilliKelvin | None = None
    item_drift_mk: MilliKelvin | None = None
    remaining_mk: MilliKelvin | None = None


class SequenceTable(Table):
    """How a point is read; a key left out falls back to [defaults.sequence], then to 3, 4 and 1.

    `reverse_current`: every visit reads both ways of the current, and the mean of each pair counts: thermal
    EMF drops out.
    """

    cycles: Annotated[int, Field(ge=2, le=100)] | None = None
    readings_per_visit: Annotated[int, Field(ge=1, le=1000)] | None = None
    discard_after_switch: Annotated[int, Field(ge=0, le=100)] | None = None
    reverse_current: bool | None = None


class Settings(Table):
    """What [defaults] and every [[points]] may say; a point's own word goes before the defaults.

    `on_timeout`: what becomes of a point that finds no equilibrium within `maximum_wait_minutes`.
    """

    ramp_k_per_min: Rate | None = None
    current_ma: MilliAmpere | None = None
    minimum_soak_minutes: Minutes | None = None
    maximum_wait_minutes: Minutes | None = None
    on_timeout: OnTimeout | None = None
    equilibrium: EquilibriumTable = EquilibriumTable()
    sequence: SequenceTable = SequenceTable()


class ImmersionTable(Table):
    """[points.immersion_profile]: a person withdraws one item by one, two and three steps, and puts it back.

    For attended runs only. Source of steps of 2, 4 and 6 cm: NPL good-practice module on immersion.
    """

    serial: Serial
    step_mm: Annotated[float, Field(ge=5.0, le=100.0)] = 20.0
    wait_minutes: Minutes = 5.0  # common practice, no source


class Point(Settings):
    """[[points]]: one temperature in °C; the same one twice shows hysteresis or a repeated point.

    `self_heating_ma`: the items are read at this second current too, and again at the first, which shows how
    much the measuring current warms them.
    """

    temperature_c: Celsius
    label: Text = ""
    self_heating_ma: MilliAmpere | None = None
    immersion_profile: ImmersionTable | None = None


class Zero(Table):
    """[zero]: the first and the last point.

    `in_source`: the source itself goes to 0 °C (or 0.01 °C). `attended_ice_point`: for a source that cannot
    go there, a person measures the ice point before loading and after unloading; the run then begins and ends
    at `temperature_c`, a point of the source that shows whether the thermometers returned.
    """

    kind: Literal["in_source", "attended_ice_point"] = "in_source"
    temperature_c: Celsius = 0.0
    first: bool = True
    last: bool = True
    reason: Text = ""

    @model_validator(mode="after")
    def _zero_is_zero(self) -> Self:
        if self.kind == "in_source" and self.temperature_c not in (0.0, 0.01):
            raise ValueError(
                "the zero point is 0.0 or 0.01 °C. A source that cannot go there: "
                'kind = "attended_ice_point", a return temperature and a reason.'
            )
        return self

    @model_validator(mode="after")
    def _an_exception_has_a_reason(self) -> Self:
        usual = self.kind == "in_source" and self.first and self.last
        if not usual and not self.reason.strip():
            raise ValueError("a run that does not begin and end at 0 °C in the source needs a reason.")
        return self


class Anneal(Table):
    """[anneal]: heat that relieves strain, between the first zero point (as found) and the points.

    Hold, cool no faster than `cooling_k_per_min` (nor than the thermometers bear), read at the zero point,
    and again, until no thermometer has changed by more than `stable_within_mk` since the time before, or
    `cycles` are spent; then the run ends for a decision, or goes on and is marked.
    """

    temperature_c: Celsius
    hold_minutes: Minutes = 240.0  # from memory: 4 h at 450 °C to 675 °C for standard thermometers
    cooling_k_per_min: Rate | None = None
    cycles: Annotated[int, Field(ge=1, le=5)] = 3
    stable_within_mk: MilliKelvin = 3.0  # common practice, no source, for industrial thermometers
    when_unstable: Literal["end", "continue"] = "end"
    as_found_waived_by: Text = ""


class Inspection(Table):
    """[[inspections]]: what a person found before heat; `insulation_mohm` is sheath to element."""

    serial: Serial
    by: Name
    on: Day
    insulation_mohm: Annotated[float, Field(ge=0.001, le=1e7)] | None = None
    volts: Annotated[float, Field(ge=1.0, le=500.0)] = 100.0
    found: Text = ""


class Resume(Table):
    """[resume]: what happens after a crash or a power cut."""

    policy: Literal["park", "continue"] = "park"
    maximum_gap_s: Annotated[float, Field(gt=0.0, le=600.0)] = 120.0


class Finish(Table):
    """[finish]: where the source is left; without parking_c the bench's own.

    `heater`: off, but on for a fluid that would freeze in the room; it may be written down, not chosen.
    """

    parking_c: Celsius | None = None
    heater: Literal["off", "on"] | None = None


class Plan(Table):
    """plan.toml. `guards`: tables [guards.NAME] as `ohmvigil guards` lists them, only stricter."""

    header: PlanHeader = Field(alias="plan")
    reference: Placed
    items: Annotated[tuple[Item, ...], Field(min_length=1, max_length=95)]
    defaults: Settings = Settings()
    zero: Zero = Zero()
    anneal: Anneal | None = None
    inspections: Annotated[tuple[Inspection, ...], Field(max_length=200)] = ()
    points: Annotated[tuple[Point, ...], Field(min_length=1, max_length=MOST_POINTS)]
    guards: dict[Name, dict[Name, Annotated[float, Field(ge=-1e6, le=1e6)]]] = Field(default_factory=dict)
    resume: Resume = Resume()
    finish: Finish = Finish()

    @model_validator(mode="after")
    def _as_found_comes_first(self) -> Self:
        anneal = self.anneal
        if anneal is not None and not self.zero.first and not anneal.as_found_waived_by.strip():
            raise ValueError(
                "[anneal] changes the thermometers: read them as found first ([zero] first = true), or write "
                "as_found_waived_by with the name of whoever decided against it."
            )
        return self

    @property
    def placed(self) -> tuple[Placed, ...]:
        """Reference first, then the items, in plan order."""
        return (self.reference, *self.items)
