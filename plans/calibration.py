"""A thermometer's calibration as its certificate states it: equation, range, coefficients, dates."""

from __future__ import annotations

from datetime import date as Day
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from plans.values import Celsius, Coefficient, MilliKelvin, Name, Ohm, Table

SubrangeName = Literal[
    "3.3.1",
    "3.3.1.1",
    "3.3.1.2",
    "3.3.1.3",
    "3.3.2",
    "3.3.2.1",
    "3.3.2.2",
    "3.3.2.3",
    "3.3.2.4",
    "3.3.2.5",
    "3.3.3",
]

# ITS-90 text, Table 5: limits in °C and the coefficients that do not vanish, by section number.
SUBRANGES: dict[str, tuple[float, float, frozenset[str]]] = {
    "3.3.1": (-259.3467, 0.01, frozenset({"a", "b", "c1", "c2", "c3", "c4", "c5"})),
    "3.3.1.1": (-248.5939, 0.01, frozenset({"a", "b", "c1", "c2", "c3"})),
    "3.3.1.2": (-218.7916, 0.01, frozenset({"a", "b", "c1"})),
    "3.3.1.3": (-189.3442, 0.01, frozenset({"a", "b"})),
    "3.3.2": (0.0, 961.78, frozenset({"a", "b", "c", "d"})),
    "3.3.2.1": (0.0, 660.323, frozenset({"a", "b", "c"})),
    "3.3.2.2": (0.0, 419.527, frozenset({"a", "b"})),
    "3.3.2.3": (0.0, 231.928, frozenset({"a", "b"})),
    "3.3.2.4": (0.0, 156.5985, frozenset({"a"})),
    "3.3.2.5": (0.0, 29.7646, frozenset({"a"})),
    "3.3.3": (-38.8344, 29.7646, frozenset({"a", "b"})),
}


class Subrange(Table):
    """One ITS-90 deviation function, named by its section in the ITS-90 text."""

    name: SubrangeName
    a: Coefficient
    b: Coefficient | None = None
    c: Coefficient | None = None
    d: Coefficient | None = None
    c1: Coefficient | None = None
    c2: Coefficient | None = None
    c3: Coefficient | None = None
    c4: Coefficient | None = None
    c5: Coefficient | None = None

    @property
    def coefficients(self) -> dict[str, float]:
        """The coefficients given, by letter."""
        return {key: value for key, value in self if isinstance(value, float)}

    @property
    def range_c(self) -> tuple[float, float]:
        """Lower and upper end of the sub-range in °C (ITS-90, Table 5)."""
        return SUBRANGES[self.name][:2]

    @model_validator(mode="after")
    def _exactly_the_coefficients_of_the_subrange(self) -> Self:
        wanted = SUBRANGES[self.name][2]
        if set(self.coefficients) != wanted:
            raise ValueError(
                f"sub-range {self.name} has the coefficients {', '.join(sorted(wanted))}; "
                f"given are {', '.join(sorted(self.coefficients))}. Write exactly those of the certificate."
            )
        return self


class CallendarVanDusen(Table):
    """Coefficients of R(t) = R0 (1 + A t + B t² + C (t − 100) t³), C only below 0 °C (IEC 60751)."""

    a: Annotated[float, Field(gt=1e-3, lt=1e-2)]
    b: Annotated[float, Field(gt=-1e-5, lt=1e-5)]
    c: Annotated[float, Field(gt=-1e-9, lt=1e-9)] = 0.0


class Calibration(Table):
    """What the certificate says; `expanded_uncertainty_mk` is U for `coverage_factor` k."""

    certificate: Name
    date: Day
    due: Day
    equation: Literal["its90", "callendar_van_dusen"]
    minimum_c: Celsius
    maximum_c: Celsius
    r_tpw_ohm: Ohm | None = None
    r0_ohm: Ohm | None = None
    subranges: tuple[Subrange, ...] = ()
    callendar_van_dusen: CallendarVanDusen | None = None
    expanded_uncertainty_mk: MilliKelvin
    coverage_factor: Annotated[float, Field(ge=1.0, le=5.0)] = 2.0

    def _mercury_to_gallium_and_more(self) -> bool:
        return len(self.subranges) > 1 and any(part.name == "3.3.3" for part in self.subranges)

    def covers(self, temperature_c: float) -> bool:
        """True when the temperature lies in the calibrated range, ends included."""
        return self.minimum_c <= temperature_c <= self.maximum_c

    @model_validator(mode="after")
    def _dates_and_range_in_order(self) -> Self:
        if not self.date < self.due:
            raise ValueError("'due' must be later than 'date': copy both from the certificate.")
        if not self.minimum_c < self.maximum_c:
            raise ValueError("minimum_c must be lower than maximum_c: copy both from the certificate.")
        return self

    @model_validator(mode="after")
    def _coefficients_of_its_equation(self) -> Self:
        its90 = self.r_tpw_ohm is not None and bool(self.subranges)
        cvd = self.r0_ohm is not None and self.callendar_van_dusen is not None
        if self.equation == "its90" and not its90:
            raise ValueError('equation "its90" needs r_tpw_ohm and at least one [[...subranges]] table.')
        if self.equation == "callendar_van_dusen" and not cvd:
            raise ValueError(
                'equation "callendar_van_dusen" needs r0_ohm and a [...callendar_van_dusen] table.'
            )
        if self.equation == "its90" and (self.r0_ohm is not None or self.callendar_van_dusen is not None):
            raise ValueError("one equation at a time: take out r0_ohm and the callendar_van_dusen table.")
        if self.equation == "callendar_van_dusen" and (self.r_tpw_ohm is not None or self.subranges):
            raise ValueError("one equation at a time: take out r_tpw_ohm and the subranges.")
        return self

    @model_validator(mode="after")
    def _subranges_reach_over_the_calibrated_range(self) -> Self:
        below = [part for part in self.subranges if part.range_c[0] < 0.0]
        if len(below) > 1 or len(self.subranges) - len(below) > 1 or self._mercury_to_gallium_and_more():
            raise ValueError("give 3.3.3 alone, or at most one sub-range below 0 °C and one above.")
        reached = self.minimum_c
        for low, high in sorted(part.range_c for part in self.subranges):
            if low <= reached:
                reached = max(reached, high)
        if self.subranges and reached < self.maximum_c:
            raise ValueError(
                f"the sub-ranges given do not reach from {self.minimum_c:g} °C to {self.maximum_c:g} °C; "
                "give the missing sub-range or the range the certificate really covers."
            )
        return self
