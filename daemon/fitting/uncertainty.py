"""Terms of the uncertainty budget, and the budget of one point of one thermometer.

Source of the rules: JCGM 100:2008 (GUM) clauses 4.3 and 5.1, annex G.4 for the effective degrees of freedom.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from daemon.fitting.arrays import FloatArray
from daemon.fitting.coverage import coverage_factor, effective_degrees_of_freedom
from daemon.fitting.errors import FittingError

Unit = Literal["mK", "ohm", "ppm"]
Distribution = Literal["normal", "rectangular", "triangular", "arcsine"]
Correlation = Literal["random", "common"]
Shape = Literal["constant", "ambient_excess", "resistance", "table"]

DIVISORS: dict[str, float] = {
    "normal": 1.0,
    "rectangular": math.sqrt(3),
    "triangular": math.sqrt(6),
    "arcsine": math.sqrt(2),
}
_UNITS = ("mK", "ohm", "ppm")
_SHAPES = ("constant", "ambient_excess", "resistance", "table")


@dataclass(frozen=True)
class Component:
    """One term: a half-width, a standard deviation or an expanded uncertainty, and how it acts.

    `size` is in `unit`; standard uncertainty = size / divisor (by the distribution, unless given: for an
    expanded U give its coverage factor). "random" is independent at each point, "common" is one unknown
    that acts on all points. Shapes: "constant"; "ambient_excess" scales with (t - ambient)/100 K;
    "resistance" is proportional to R (unit ppm, always and only); "table" scales with a factor
    interpolated in (t in °C, factor) pairs and held beyond their ends. `note` is origin and date.
    """

    name: str
    size: float
    unit: Unit = "mK"
    distribution: Distribution = "normal"
    divisor: float | None = None
    degrees_of_freedom: float = math.inf
    correlation: Correlation = "common"
    shape: Shape = "constant"
    note: str = ""
    ambient_c: float = 23.0
    table: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        problem = self._problem()
        if problem:
            raise FittingError(f"uncertainty term {self.name!r}: {problem}")

    def _problem(self) -> str:
        checks = (
            (bool(self.name.strip()), "has no name"),
            (0 <= self.size < 1e9, f"size {self.size} is not a number from 0 up"),
            (self.unit in _UNITS, f"unit {self.unit!r} is not one of {', '.join(_UNITS)}"),
            (
                self.distribution in DIVISORS,
                f"distribution {self.distribution!r}: one of {', '.join(DIVISORS)}",
            ),
            (self.divisor is None or 0 < self.divisor < 100, f"divisor {self.divisor} is not above 0"),
            (self.degrees_of_freedom >= 1, f"degrees of freedom {self.degrees_of_freedom} are below 1"),
            (self.correlation in ("random", "common"), "correlation is either random or common"),
            (self.shape in _SHAPES, f"shape {self.shape!r} is not one of {', '.join(_SHAPES)}"),
            (
                (self.unit == "ppm") == (self.shape == "resistance"),
                "unit ppm and shape resistance go together",
            ),
            ((self.shape == "table") == bool(self.table), "a table belongs to the shape table"),
            (-273.15 < self.ambient_c < 1000, f"ambient {self.ambient_c} °C is not a room"),
            (_ascending(self.table), "the table's temperatures must ascend and its factors be 0 or more"),
        )
        return next((text for fine, text in checks if not fine), "")

    @property
    def standard(self) -> float:
        """Standard uncertainty in `unit`, before the shape."""
        return self.size / (DIVISORS[self.distribution] if self.divisor is None else self.divisor)

    def kelvins_per_unit(
        self, temperature_c: FloatArray, resistance_ohm: FloatArray, sensitivity_ohm_per_k: FloatArray
    ) -> FloatArray:
        """Sensitivity coefficient: kelvins of error at each (n,) point for one unit of this term.

        Signed: a term that grows with the excess over ambient pulls the other way below it.
        """
        base: float | FloatArray = 1e-3
        if self.unit == "ohm":
            base = 1 / sensitivity_ohm_per_k
        elif self.unit == "ppm":
            base = 1e-6 * resistance_ohm / sensitivity_ohm_per_k
        kelvins: FloatArray = base * self._growth(temperature_c)
        return kelvins

    def _growth(self, temperature_c: FloatArray) -> FloatArray:
        """(n,) how the term grows with temperature."""
        if self.shape == "ambient_excess":
            return (temperature_c - self.ambient_c) / 100.0
        if self.shape == "table":
            where, factor = zip(*self.table, strict=True)
            between: FloatArray = np.interp(temperature_c, where, factor)
            return between
        return np.ones(temperature_c.shape)

    def standard_k(
        self, temperature_c: FloatArray, resistance_ohm: FloatArray, sensitivity_ohm_per_k: FloatArray
    ) -> FloatArray:
        """Standard uncertainty in K at each (n,) point, with the sign of its sensitivity."""
        return self.standard * self.kelvins_per_unit(temperature_c, resistance_ohm, sensitivity_ohm_per_k)


def _ascending(table: tuple[tuple[float, float], ...]) -> bool:
    temperatures = [t for t, _ in table]
    rising = all(low < high for low, high in pairwise(temperatures))
    return rising and all(0 <= factor < 1e9 for _, factor in table)


@dataclass(frozen=True)
class BudgetLine:
    """One printed line: `sensitivity_mk_per_unit` times `standard` (in `unit`) is `standard_mk`."""

    name: str
    size: float
    unit: str
    distribution: str
    divisor: float
    standard: float
    sensitivity_mk_per_unit: float
    standard_mk: float
    degrees_of_freedom: float
    correlation: str
    note: str


@dataclass(frozen=True)
class Budget:
    """The budget of one point and thermometer; uncertainties in mK, `coverage` is the probability of ±U."""

    label: str
    temperature_c: float
    lines: tuple[BudgetLine, ...]
    combined_mk: float
    effective_degrees_of_freedom: float
    coverage: float
    coverage_factor: float
    expanded_mk: float


def point_budget(
    label: str,
    temperature_c: float,
    resistance_ohm: float,
    sensitivity_ohm_per_k: float,
    components: Sequence[Component],
    coverage: float = 0.95,
) -> Budget:
    """Budget of one point: every term in mK, combined, effective degrees of freedom, k and U.

    k comes from the distribution of the sum (one dominating rectangular term gives about 1.65) and from
    the effective degrees of freedom of Welch and Satterthwaite, GUM equation (G.2b).
    """
    where = (np.array([temperature_c]), np.array([resistance_ohm]), np.array([sensitivity_ohm_per_k]))
    lines = tuple(_line(component, where) for component in components)
    parts = np.array([[line.standard_mk for line in lines]])
    dof = np.array([line.degrees_of_freedom for line in lines])
    combined = float(np.sqrt((parts**2).sum()))
    effective = effective_degrees_of_freedom(parts, dof)
    factor = coverage_factor(parts, [line.distribution for line in lines], effective, coverage)
    return Budget(
        label=label,
        temperature_c=temperature_c,
        lines=lines,
        combined_mk=combined,
        effective_degrees_of_freedom=float(effective[0]),
        coverage=coverage,
        coverage_factor=float(factor[0]),
        expanded_mk=float(factor[0]) * combined,
    )


def _line(component: Component, where: tuple[FloatArray, FloatArray, FloatArray]) -> BudgetLine:
    sensitivity = 1e3 * abs(float(component.kelvins_per_unit(*where)[0]))
    default = DIVISORS[component.distribution]
    return BudgetLine(
        name=component.name,
        size=component.size,
        unit=component.unit,
        distribution=component.distribution,
        divisor=default if component.divisor is None else component.divisor,
        standard=component.standard,
        sensitivity_mk_per_unit=sensitivity,
        standard_mk=sensitivity * component.standard,
        degrees_of_freedom=component.degrees_of_freedom,
        correlation=component.correlation,
        note=component.note,
    )
