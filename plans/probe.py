"""A thermometer with its rating: the working limits and the rule that set each of them."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from plans.calibration import Calibration
from plans.rating import (
    SHEATH_NAMES,
    Element,
    Limit,
    Sheath,
    ToleranceClass,
    default_maximum,
    default_minimum,
    default_rate,
)
from plans.values import Celsius, Channel, MilliAmpere, Millimetre, Ohm, Rate, Serial, Table

SPRT_CAREFUL_ABOVE_C = 480.0  # from memory: faster cooling from above leaves quenched vacancies
SPRT_COOLING_K_PER_MIN = 50.0 / 60.0  # from memory: 50 K/h; no guide allows more than 100 K/h
STATED = "stated in the register"


class Thermometer(Table):
    """One thermometer of the register; a limit left out is set by sheath, class or element.

    `last_r0_ohm`: resistance at 0 °C when last measured, by which it is recognised on its channel.
    """

    serial: Serial
    kind: Literal["sprt", "semi_standard", "iprt"]
    element: Element
    sheath: Sheath
    tolerance_class: ToleranceClass | None = None
    nominal_r0_ohm: Annotated[float, Field(ge=5.0, le=2000.0)]
    wires: Annotated[int, Field(ge=2, le=4)]
    stated_minimum_c: Celsius | None = Field(default=None, alias="minimum_c")
    stated_maximum_c: Celsius | None = Field(default=None, alias="maximum_c")
    head_minimum_c: Celsius = -20.0  # common practice, no source
    head_maximum_c: Celsius = 80.0  # common practice, no source
    head_channel: Channel | None = None
    stated_heating_limit_k_per_min: Rate | None = Field(default=None, alias="heating_limit_k_per_min")
    stated_cooling_limit_k_per_min: Rate | None = Field(default=None, alias="cooling_limit_k_per_min")
    stated_current_ma: MilliAmpere | None = Field(default=None, alias="rated_current_ma")
    sensing_length_mm: Millimetre
    diameter_mm: Annotated[float, Field(ge=0.5, le=50.0)]
    length_below_handle_mm: Millimetre
    last_r0_ohm: Ohm | None = None
    dry_sealed: bool = False
    calibration: Calibration | None = None

    @property
    def owner(self) -> str:
        """How messages name it."""
        return f"probe {self.serial}"

    @property
    def construction(self) -> Literal["wire", "film"]:
        """Which is all that the tolerance classes ask of it."""
        return "film" if self.element == "film" else "wire"

    @property
    def maximum(self) -> Limit:
        """Highest temperature in °C and who set it."""
        if self.stated_maximum_c is not None:
            return Limit(self.owner, self.stated_maximum_c, f"{SHEATH_NAMES[self.sheath]}, {STATED}")
        return default_maximum(self.owner, self.sheath, self.element, self.tolerance_class)

    @property
    def minimum(self) -> Limit:
        """Lowest temperature in °C and who set it."""
        if self.stated_minimum_c is not None:
            return Limit(self.owner, self.stated_minimum_c, STATED)
        return default_minimum(self.owner, self.element, self.tolerance_class)

    @property
    def heating(self) -> Limit:
        """Fastest heating in K/min and who set it."""
        if self.stated_heating_limit_k_per_min is not None:
            return Limit(self.owner, self.stated_heating_limit_k_per_min, STATED)
        return default_rate(self.owner, self.sheath)

    def cooling_from(self, temperature_c: float) -> Limit:
        """Fastest cooling in K/min from this temperature and who set it."""
        stated = self.stated_cooling_limit_k_per_min
        usual = default_rate(self.owner, self.sheath) if stated is None else Limit(self.owner, stated, STATED)
        if self.kind == "sprt" and temperature_c > SPRT_CAREFUL_ABOVE_C:
            careful = Limit(
                self.owner, SPRT_COOLING_K_PER_MIN, "SPRT from above 480 °C: 50 K/h (from memory)"
            )
            return min(usual, careful, key=lambda limit: limit.value)
        return usual

    @property
    def current(self) -> Limit:
        """Largest measuring current in mA and who set it."""
        if self.stated_current_ma is not None:
            return Limit(self.owner, self.stated_current_ma, STATED)
        default_ma = 1.0 if self.nominal_r0_ohm <= 150.0 else 0.1
        return Limit(
            self.owner, default_ma, f"{self.nominal_r0_ohm:g} Ω element (common practice, no source)"
        )

    @model_validator(mode="after")
    def _limits_in_order(self) -> Self:
        if not self.minimum.value < self.maximum.value:
            raise ValueError(
                f"the lowest temperature ({self.minimum.value:g} °C) must be below the highest "
                f"({self.maximum.value:g} °C): correct minimum_c or maximum_c."
            )
        if not self.head_minimum_c < self.head_maximum_c:
            raise ValueError("head_minimum_c must be below head_maximum_c.")
        if not self.sensing_length_mm < self.length_below_handle_mm:
            raise ValueError("sensing_length_mm must be shorter than length_below_handle_mm.")
        return self

    @model_validator(mode="after")
    def _resistance_near_nominal(self) -> Self:
        measured: Ohm | None = self.last_r0_ohm
        if measured is None and self.calibration is not None:
            measured = self.calibration.r_tpw_ohm or self.calibration.r0_ohm
        if measured is not None and not abs(measured / self.nominal_r0_ohm - 1.0) <= 0.05:
            raise ValueError(
                f"the {measured:g} Ω on file is more than 5 % from nominal_r0_ohm = "
                f"{self.nominal_r0_ohm:g}: one of the two belongs to another thermometer."
            )
        return self
