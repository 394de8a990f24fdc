"""The fluid in a stirred bath, as its own data sheet states it; never a built-in table."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import model_validator

from plans.rating import Limit
from plans.values import Celsius, Name, Table

FLASH_MARGIN_K = 25.0  # common practice, no source: unattended, under the closed-cup flash point
FIRE_MARGIN_K = 25.0  # ascribed to IEC 61010-2-010 by secondary pages, clause not read
BOILING_MARGIN_K = 20.0  # common practice, no source
FREEZING_MARGIN_K = 10.0  # common practice, no source
WATER_MAXIMUM_C = 80.0  # common practice, no source: unattended, with lid
SALT_MAXIMUM_C = 550.0  # from memory: nitrates and nitrites decompose above
SOLID_BELOW_C = 30.0  # common practice, no source: what freezes above a warm room is kept molten
HELD_ABOVE_K = 5.0  # common practice, no source: room for a held bath to swing above its lowest temperature

COMBUSTIBLE = ("silicone_oil", "mineral_oil", "alcohol", "other")


class Fluid(Table):
    """Temperatures in °C; flash point closed cup; minimum_c and maximum_c are the working range."""

    name: Name
    kind: Literal["silicone_oil", "mineral_oil", "water", "water_glycol", "alcohol", "salt", "other"]
    minimum_c: Celsius
    maximum_c: Celsius
    freezing_c: Celsius
    flash_c: Celsius | None = None
    fire_c: Celsius | None = None
    boiling_c: Celsius | None = None

    @property
    def maximum(self) -> Limit:
        """Highest fluid temperature in an unattended run and the rule that sets it."""
        owner = f"fluid {self.name}"
        limits = [Limit(owner, self.maximum_c, "highest working temperature of its data sheet")]
        if self.flash_c is not None:
            rule = f"flash point {self.flash_c:g} °C less {FLASH_MARGIN_K:g} K (common practice)"
            limits.append(Limit(owner, self.flash_c - FLASH_MARGIN_K, rule))
        if self.boiling_c is not None:
            rule = f"boiling point {self.boiling_c:g} °C less {BOILING_MARGIN_K:g} K (common practice)"
            limits.append(Limit(owner, self.boiling_c - BOILING_MARGIN_K, rule))
        if self.kind == "water":
            limits.append(Limit(owner, WATER_MAXIMUM_C, "water left alone (common practice, no source)"))
        if self.kind == "salt":
            limits.append(Limit(owner, SALT_MAXIMUM_C, "salt decomposes (from memory)"))
        return min(limits, key=lambda limit: limit.value)

    @property
    def kept_molten(self) -> bool:
        """Solid in a room: freezing, it traps and breaks sheaths, so its source is parked hot and held."""
        return self.kind == "salt" or self.freezing_c > SOLID_BELOW_C

    @property
    def coldest_held_c(self) -> float:
        """The lowest set-point at which it is surely kept molten."""
        return self.minimum.value + HELD_ABOVE_K

    @property
    def minimum(self) -> Limit:
        """Lowest fluid temperature and the rule that sets it."""
        owner = f"fluid {self.name}"
        rule = f"freezing point {self.freezing_c:g} °C plus {FREEZING_MARGIN_K:g} K (common practice)"
        stated = Limit(owner, self.minimum_c, "lowest working temperature of its data sheet")
        return max(
            stated, Limit(owner, self.freezing_c + FREEZING_MARGIN_K, rule), key=lambda limit: limit.value
        )

    @model_validator(mode="after")
    def _what_burns_or_boils_is_stated(self) -> Self:
        if self.kind in COMBUSTIBLE and (self.flash_c is None or self.fire_c is None):
            raise ValueError(
                f'a fluid of kind "{self.kind}" needs flash_c (closed cup) and fire_c: '
                "take both from the data sheet of the fluid that is in the tank."
            )
        if self.kind in ("water", "water_glycol", "alcohol") and self.boiling_c is None:
            raise ValueError(f'a fluid of kind "{self.kind}" needs boiling_c.')
        return self

    @model_validator(mode="after")
    def _temperatures_in_order(self) -> Self:
        if not self.freezing_c <= self.minimum_c < self.maximum_c:
            raise ValueError("expected freezing_c <= minimum_c < maximum_c: check the data sheet.")
        if self.flash_c is not None and self.fire_c is not None and not self.flash_c <= self.fire_c:
            raise ValueError("the fire point cannot be below the flash point: check the data sheet.")
        return self
