"""The heat source of a bench: range, ramp, overshoot, cut-out and what it does when the power returns."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from plans.address import Address
from plans.rating import Limit
from plans.values import Celsius, MilliKelvin, Millimetre, ProfileName, Rate, SourceKind, Table

# All common practice, no source: replaced by the bench file once the source has been characterised.
OVERSHOOT_K: dict[SourceKind, float] = {"stirred_bath": 5.0, "dry_block": 10.0, "furnace": 10.0}
COAST_S: dict[SourceKind, float] = {"stirred_bath": 60.0, "dry_block": 60.0, "furnace": 180.0}


class CutOut(Table):
    """The independent over-temperature cut-out: its setting, and the day it was last seen to trip."""

    setting_c: Celsius
    tested_on: date


class Stability(Table):
    """How quiet the source has been seen to be near a temperature, over the usual window: a dated record."""

    temperature_c: Celsius
    drift_mk: MilliKelvin
    scatter_mk: MilliKelvin
    seen_on: date


class HeatSource(Table):
    """[heat_source] of a bench file; temperatures in °C, lengths in mm.

    `overshoot_allowance_k`, `coast_time_s`: how far and how long it goes on after the heat is off; left out,
    what is usual for its kind. `contactor`: one is fitted. `power_return`: what it does when power returns.
    `cooling_below_c`: the cooling (fan, coil) is switched on for points up to this temperature and off
    above it; left out, it is never touched.
    """

    kind: SourceKind
    profile: ProfileName
    address: Address
    minimum_c: Celsius
    maximum_c: Celsius
    stated_overshoot_k: Annotated[float, Field(ge=1.0, le=50.0)] | None = Field(
        default=None, alias="overshoot_allowance_k"
    )
    stated_coast_s: Annotated[float, Field(ge=0.0, le=3600.0)] | None = Field(
        default=None, alias="coast_time_s"
    )
    ramp_limit_k_per_min: Rate
    parking_c: Celsius = 40.0  # common practice, no source
    immersion_mm: Millimetre
    bore_clearance_mm: Annotated[float, Field(ge=0.0, le=10.0)] | None = None
    cooling_below_c: Celsius | None = None
    display_offset_k: Annotated[float, Field(ge=-10.0, le=10.0)] = 0.0
    contactor: bool = False
    power_return: Literal["unknown", "resumes", "holds", "off"] = "unknown"
    cut_out: CutOut | None = None
    stability: tuple[Stability, ...] = ()

    def quietest(self, temperature_c: float) -> Stability | None:
        """The record of the temperature nearest to this one; None when the source was never characterised."""
        return min(self.stability, key=lambda one: abs(one.temperature_c - temperature_c), default=None)

    @property
    def overshoot_allowance_k(self) -> float:
        """How far past the set-point it may swing."""
        return OVERSHOOT_K[self.kind] if self.stated_overshoot_k is None else self.stated_overshoot_k

    @property
    def coast_time_s(self) -> float:
        """How long a probe goes on climbing after the heat is cut."""
        return COAST_S[self.kind] if self.stated_coast_s is None else self.stated_coast_s

    def beyond_k(self, ramp_k_per_min: float) -> float:
        """How far past its set-point it may carry a probe, in K: coasting after a cut, and overshoot."""
        return ramp_k_per_min * self.coast_time_s / 60.0 + self.overshoot_allowance_k

    @property
    def maximum(self) -> Limit:
        """Its own highest temperature."""
        return Limit(f"the {self.spoken}", self.maximum_c, "maximum_c of the bench file")

    @property
    def minimum(self) -> Limit:
        """Its own lowest temperature."""
        return Limit(f"the {self.spoken}", self.minimum_c, "minimum_c of the bench file")

    @property
    def spoken(self) -> str:
        """The kind as said aloud."""
        return {"stirred_bath": "bath", "dry_block": "block", "furnace": "furnace"}[self.kind]

    @model_validator(mode="after")
    def _range_in_order(self) -> Self:
        if not self.minimum_c < self.maximum_c:
            raise ValueError("minimum_c must be below maximum_c.")
        if not self.minimum_c <= self.parking_c <= self.maximum_c:
            raise ValueError("parking_c must lie between minimum_c and maximum_c.")
        return self
