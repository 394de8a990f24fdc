"""The eleven ITS-90 sub-ranges of platinum resistance thermometers and their deviation functions.

Source: The International Temperature Scale of 1990, Metrologia 27 (1990) 3-10, section 3.3, equations
(11) to (14) and Table 5; the numbers 1 to 11 are those in wide use. dW = W - Wr(t90), and W in every
deviation function is the thermometer's measured ratio R(t)/R(273.16 K).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from daemon.fitting import its90
from daemon.fitting.arrays import FloatArray, as_floats
from daemon.fitting.errors import NotSolvable
from daemon.fitting.fixed_points import FIXED_POINTS
from drivers.quantities import ICE_POINT_K, TRIPLE_POINT_OF_WATER_C

# Wr at the freezing point of aluminium: where the silver term begins, until W(Al) has been measured.
WR_ALUMINIUM = 3.37600860


@dataclass(frozen=True)
class Term:
    """One term of a deviation function: (W-1)^power · (ln W)^log_power."""

    coefficient: str
    power: int
    log_power: int = 0

    def value(self, ratio: FloatArray) -> FloatArray:
        """The term for unit coefficient; any shape."""
        result: FloatArray = (ratio - 1) ** self.power if self.power else np.ones_like(ratio)
        if self.log_power:
            result *= np.log(ratio) ** self.log_power
        return result

    def slope(self, ratio: FloatArray) -> FloatArray:
        """Its derivative with respect to W."""
        if not self.log_power:
            plain: FloatArray = self.power * (ratio - 1) ** (self.power - 1)
            return plain
        log = np.log(ratio)
        slope: FloatArray = (ratio - 1) ** self.power * self.log_power * log ** (self.log_power - 1) / ratio
        return (
            slope + self.power * (ratio - 1) ** (self.power - 1) * log**self.log_power
            if self.power
            else slope
        )

    def of_one(self, ratio: float) -> float:
        """The term for one number, plain Python."""
        result = (ratio - 1) ** self.power
        return result * math.log(ratio) ** self.log_power if self.log_power else result


@dataclass(frozen=True)
class SilverTerm:
    """d·(W - W(Al))², acting above the aluminium point only."""

    coefficient: str = "d"
    w_aluminium: float = WR_ALUMINIUM

    def value(self, ratio: FloatArray) -> FloatArray:
        """The term for unit coefficient; any shape."""
        return np.maximum(ratio - self.w_aluminium, 0.0) ** 2

    def slope(self, ratio: FloatArray) -> FloatArray:
        """Its derivative with respect to W."""
        return 2 * np.maximum(ratio - self.w_aluminium, 0.0)

    def of_one(self, ratio: float) -> float:
        """The term for one number, plain Python."""
        return max(ratio - self.w_aluminium, 0.0) ** 2


@dataclass(frozen=True)
class Subrange:
    """One row of Table 5: section number, limits, terms in coefficient order, and the points needed."""

    section: str
    number: int
    lower_k: float
    upper_k: float
    terms: tuple[Term | SilverTerm, ...]
    points: tuple[str, ...]

    @cached_property
    def lower_c(self) -> float:
        """Lower limit in °C."""
        return round(self.lower_k - ICE_POINT_K, 4)

    @cached_property
    def upper_c(self) -> float:
        """Upper limit in °C."""
        return round(self.upper_k - ICE_POINT_K, 4)

    @property
    def coefficients(self) -> tuple[str, ...]:
        """Names in the order of the terms: a, b, c, d or a, b, c1 ... c5."""
        return tuple(term.coefficient for term in self.terms)

    @property
    def below_zero(self) -> bool:
        """True when the sub-range ends at the triple point of water."""
        return self.upper_c == TRIPLE_POINT_OF_WATER_C

    def covers(self, lowest_c: float, highest_c: float) -> bool:
        """True when the whole span lies inside, both ends in °C."""
        return self.lower_c <= lowest_c and highest_c <= self.upper_c

    @cached_property
    def powers(self) -> FloatArray | None:
        """(k,) exponents when every term is a power of W - 1, else None."""
        plain = [term.power for term in self.terms if isinstance(term, Term) and not term.log_power]
        return np.array(plain, dtype=np.float64) if len(plain) == len(self.terms) else None

    def basis_and_slope(self, ratio: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Terms for unit coefficients and their derivatives by W; (n,) ratios in, (n, k) twice out."""
        if self.powers is not None:
            excess = (ratio - 1)[:, None]
            lowered = excess ** (self.powers - 1)
            return lowered * excess, lowered * self.powers
        columns = [(term.value(ratio), term.slope(ratio)) for term in self.terms]
        values, slopes = zip(*columns, strict=True)
        return np.stack(values, axis=-1), np.stack(slopes, axis=-1)

    def deviation(self, ratio: FloatArray, coefficients: FloatArray) -> FloatArray:
        """dW for (n,) ratios and (k,) coefficients."""
        return self.basis_and_slope(ratio)[0] @ coefficients


def _powers(*names: str) -> tuple[Term, ...]:
    return tuple(Term(name, power) for power, name in enumerate(names, start=1))


def _logs(count: int, first_power: int) -> tuple[Term, ...]:
    return tuple(Term(f"c{i + 1}", 0, first_power + i) for i in range(count))


_AB, _ABC = _powers("a", "b"), _powers("a", "b", "c")
_DEEP_POINTS = ("e-H2", "17K", "20.3K", "Ne", "O2", "Ar", "Hg", "H2O")

SUBRANGES = (
    Subrange("3.3.1", 1, 13.8033, 273.16, _AB + _logs(5, 3), _DEEP_POINTS),
    Subrange("3.3.1.1", 2, 24.5561, 273.16, _AB + _logs(3, 1), ("e-H2", "Ne", "O2", "Ar", "Hg", "H2O")),
    Subrange("3.3.1.2", 3, 54.3584, 273.16, _AB + _logs(1, 2), ("O2", "Ar", "Hg", "H2O")),
    Subrange("3.3.1.3", 4, 83.8058, 273.16, (Term("a", 1), Term("b", 1, 1)), ("Ar", "Hg", "H2O")),
    Subrange("3.3.3", 5, 234.3156, 302.9146, _AB, ("Hg", "H2O", "Ga")),
    Subrange("3.3.2", 6, 273.15, 1234.93, (*_ABC, SilverTerm()), ("H2O", "Sn", "Zn", "Al", "Ag")),
    Subrange("3.3.2.1", 7, 273.15, 933.473, _ABC, ("H2O", "Sn", "Zn", "Al")),
    Subrange("3.3.2.2", 8, 273.15, 692.677, _AB, ("H2O", "Sn", "Zn")),
    Subrange("3.3.2.3", 9, 273.15, 505.078, _AB, ("H2O", "In", "Sn")),
    Subrange("3.3.2.4", 10, 273.15, 429.7485, _powers("a"), ("H2O", "In")),
    Subrange("3.3.2.5", 11, 273.15, 302.9146, _powers("a"), ("H2O", "Ga")),
)
BY_SECTION = {subrange.section: subrange for subrange in SUBRANGES}


def with_aluminium(subrange: Subrange, w_aluminium: float) -> Subrange:
    """The same sub-range with its silver term, if any, beginning at the measured ratio W(Al)."""
    terms = tuple(
        SilverTerm(term.coefficient, w_aluminium) if isinstance(term, SilverTerm) else term
        for term in subrange.terms
    )
    return Subrange(
        subrange.section, subrange.number, subrange.lower_k, subrange.upper_k, terms, subrange.points
    )


def solve_fixed_points(
    section: str, ratios: Mapping[str, float], hydrogen_c: Mapping[str, float] | None = None
) -> dict[str, float]:
    """Coefficients from measured ratios W at exactly the fixed points the sub-range asks for.

    `ratios` maps the point's symbol (as in the fixed-point table) to W; `hydrogen_c` gives the actual t90
    in °C of the two hydrogen vapour-pressure points "17K" and "20.3K". For 3.3.2 the coefficients a, b, c
    come from Sn, Zn, Al with d = 0, and d from Ag, as the scale says. Exact solution: no residuals, no
    test. Raises NotSolvable when a point is missing or one too many is given.
    """
    subrange = BY_SECTION[section]
    needed = [point for point in subrange.points if point != "H2O"]
    if sorted(needed) != sorted(ratios):
        raise NotSolvable(
            f"sub-range {section} is solved from W at {', '.join(needed)}; given: "
            f"{', '.join(ratios) or 'none'}"
        )
    if section == "3.3.2":
        return _solve_to_silver(subrange, ratios)
    return _solve(subrange.terms, needed, ratios, hydrogen_c or {})


def _solve_to_silver(subrange: Subrange, ratios: Mapping[str, float]) -> dict[str, float]:
    below = _solve(subrange.terms[:3], ["Sn", "Zn", "Al"], ratios, {})
    silver = np.array([ratios["Ag"]])
    rest = silver - its90.reference_ratio(FIXED_POINTS["Ag"].t90_c)
    for term in subrange.terms[:3]:
        rest -= below[term.coefficient] * term.value(silver)
    return {**below, "d": float(rest[0] / (ratios["Ag"] - ratios["Al"]) ** 2)}


def _solve(
    terms: Sequence[Term | SilverTerm],
    points: Sequence[str],
    ratios: Mapping[str, float],
    hydrogen_c: Mapping[str, float],
) -> dict[str, float]:
    measured = as_floats([ratios[point] for point in points])
    reference = np.array([_reference_at(point, hydrogen_c) for point in points])
    matrix = np.stack([term.value(measured) for term in terms], axis=-1)
    scale = np.abs(matrix).max(axis=0)
    solution = np.linalg.solve(matrix / scale, measured - reference) / scale
    return dict(zip((term.coefficient for term in terms), map(float, solution), strict=True))


def _reference_at(point: str, hydrogen_c: Mapping[str, float]) -> float:
    if point in hydrogen_c:
        return float(its90.reference_ratio(hydrogen_c[point]))
    if point not in FIXED_POINTS:
        raise NotSolvable(f"the point {point} has no defined temperature: give its actual t90 in °C")
    return float(its90.reference_ratio(FIXED_POINTS[point].t90_c))
