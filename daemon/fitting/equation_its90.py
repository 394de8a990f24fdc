"""ITS-90 deviation functions as a fittable equation: R(TPW) and the coefficients of one or two sub-ranges.

Source of the form: Metrologia 27 (1990) 3-10, section 3.3. For a span over 0 °C that no single sub-range
covers, a low and a high sub-range are joined with R(TPW) common; both deviations vanish at W = 1.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

import numpy as np

from daemon.fitting import its90
from daemon.fitting.arrays import BLOCK, FloatArray
from daemon.fitting.equation import EDGE_K, Linearised
from daemon.fitting.errors import NotSolvable
from daemon.fitting.its90_subranges import BY_SECTION, SUBRANGES, SilverTerm, Subrange, Term, with_aluminium
from drivers.quantities import TRIPLE_POINT_OF_WATER_C

# Chord steps gain two digits or more each: after a step of 1e-11 in W what is left is below a nanokelvin.
_CHORD_STEPS = 8
_CHORD_DONE = 1e-11


@dataclass(frozen=True)
class Part:
    """One branch of the reference function with its sub-range; `first` is its first term's index in θ."""

    branch: its90.Branch
    subrange: Subrange
    first: int

    @cached_property
    def terms(self) -> tuple[tuple[int, Term | SilverTerm], ...]:
        """(index in θ, term)."""
        return tuple(enumerate(self.subrange.terms, start=self.first))

    @cached_property
    def columns(self) -> slice:
        """Where its terms stand in θ."""
        return slice(self.first, self.first + len(self.subrange.terms))

    @cached_property
    def powers_only(self) -> bool:
        """True when the deviation is a polynomial in W - 1."""
        return self.subrange.powers is not None


@dataclass(frozen=True)
class Its90Form:
    """`low` and `high` sub-range, one of them None for a span on one side; 3.3.3 stands in both places."""

    low: Subrange | None
    high: Subrange | None

    kind = "its90"

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """Low part first; sub-range 3.3.3 uses one set of coefficients on both sides."""
        parts = [] if self.low is None else [Part(its90.LOW, self.low, 1)]
        if self.high is not None:
            shared = self.low is None or self.low.section == self.high.section
            parts.append(Part(its90.HIGH, self.high, 1 if shared else 1 + len(self.low.terms)))  # type: ignore[union-attr]
        return tuple(parts)

    @property
    def joined(self) -> bool:
        """True when two different sub-ranges meet at the triple point of water."""
        return len(self.parts) == 2 and self.parts[1].first > 1

    @cached_property
    def parameters(self) -> tuple[str, ...]:
        """R_tpw, then a, b ...; joined: a_low, b_low ..., a_high ..."""
        if not self.joined:
            return ("R_tpw", *self.parts[0].subrange.coefficients)
        names = [
            f"{name}_{side}"
            for part, side in zip(self.parts, ("low", "high"), strict=True)
            for name in part.subrange.coefficients
        ]
        return ("R_tpw", *names)

    @property
    def units(self) -> tuple[str, ...]:
        """Ohm for R(TPW); the coefficients are pure numbers."""
        return ("Ω",) + ("",) * (len(self.parameters) - 1)

    @property
    def description(self) -> str:
        """The equation in one line."""
        sections = list(dict.fromkeys(part.subrange.section for part in self.parts))
        return f"W - Wr(t90) by ITS-90 deviation function {' joined at W = 1 with '.join(sections)}"

    def at(self, temperature_c: FloatArray) -> Its90Grid:
        """Lay the equation on (n,) temperatures."""
        return Its90Grid(self, temperature_c)

    def temperature_c(self, resistance_ohm: FloatArray, theta: FloatArray) -> FloatArray:
        """t90 in °C: W - dW(W) through the exact inverse; no iteration, dW being a function of W."""
        flat = np.ascontiguousarray(resistance_ohm, dtype=np.float64).reshape(-1)
        out = np.empty_like(flat)
        for start in range(0, flat.size, BLOCK):
            block = slice(start, start + BLOCK)
            self._block(flat[block], theta if theta.ndim == 1 else theta[:, block], out[block])
        return out.reshape(np.shape(resistance_ohm))

    def _block(self, resistance_ohm: FloatArray, theta: FloatArray, out: FloatArray) -> None:
        ratio = resistance_ohm / theta[0]
        for part, rows in _rows(self.parts, ratio < 1.0):
            mine = ratio[rows]
            reference = mine - _deviation(part, mine, theta if theta.ndim == 1 else theta[:, rows])
            found = out if mine.size == out.size else np.empty_like(mine)
            its90.invert(part.branch, reference, found)
            if found is not out:
                out[rows] = found

    def temperature_of_one_c(self, resistance_ohm: float, theta: tuple[float, ...]) -> float:
        """The same for one number."""
        ratio = resistance_ohm / theta[0]
        part = self.parts[0] if ratio < 1.0 else self.parts[-1]
        deviation = 0.0
        if part.powers_only:
            excess = ratio - 1.0
            for index, _ in reversed(part.terms):
                deviation = (deviation + theta[index]) * excess
        else:
            for index, term in part.terms:
                deviation += theta[index] * term.of_one(ratio)
        return its90.invert_one(part.branch, ratio - deviation)

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready description."""
        silver = [term for part in self.parts for term in part.subrange.terms if isinstance(term, SilverTerm)]
        return {
            "kind": self.kind,
            "low": self.low and self.low.section,
            "high": self.high and self.high.section,
            "w_aluminium": silver[0].w_aluminium if silver else None,
        }


@cache
def its90_form(low: str | None, high: str | None, w_aluminium: float | None = None) -> Its90Form:
    """The form by section numbers, e.g. ("3.3.1.3", "3.3.2.3"); `w_aluminium` is W(Al) for 3.3.2."""
    subranges = [None if name is None else BY_SECTION[name] for name in (low, high)]
    if w_aluminium is not None:
        subranges = [subrange and with_aluminium(subrange, w_aluminium) for subrange in subranges]
    return Its90Form(*subranges)


def its90_form_for(lowest_c: float, highest_c: float) -> Its90Form:
    """The narrowest form covering a span: one sub-range, or a low and a high one joined.

    A span that passes 0 °C by no more than 0.5 K counts as ending there. Raises NotSolvable beyond the scale.
    """
    if lowest_c >= -EDGE_K:
        return its90_form(None, _narrowest(max(lowest_c, 0.0), highest_c))
    if highest_c <= EDGE_K:
        return its90_form(_narrowest(lowest_c, min(highest_c, TRIPLE_POINT_OF_WATER_C)), None)
    if BY_SECTION["3.3.3"].covers(lowest_c, highest_c):
        return its90_form("3.3.3", "3.3.3")
    return its90_form(_narrowest(lowest_c, TRIPLE_POINT_OF_WATER_C), _narrowest(0.0, highest_c))


def _narrowest(lowest_c: float, highest_c: float) -> str:
    one_sided = [subrange for subrange in SUBRANGES if subrange.section != "3.3.3"]
    fitting = [subrange for subrange in one_sided if subrange.covers(lowest_c, highest_c)]
    if not fitting:
        raise NotSolvable(
            f"no ITS-90 sub-range of platinum thermometers covers {lowest_c:.3f} °C to {highest_c:.3f} °C "
            f"(they reach from {its90.LOWEST_C:.4f} °C to {its90.HIGHEST_C} °C)"
        )
    return min(fitting, key=lambda subrange: subrange.upper_k - subrange.lower_k).section


def _rows(parts: tuple[Part, ...], cold: Any) -> Iterator[tuple[Part, Any]]:
    """Each part with the rows it serves: everything when there is one part only."""
    if len(parts) == 1:
        yield parts[0], slice(None)
    elif not cold.any():
        yield parts[1], slice(None)
    elif cold.all():
        yield parts[0], slice(None)
    else:
        yield parts[0], cold
        yield parts[1], ~cold


def _deviation(part: Part, ratio: FloatArray, theta: FloatArray) -> FloatArray:
    if part.powers_only:
        excess = ratio - 1.0
        first, *rest = reversed(part.terms)
        deviation: FloatArray = theta[first[0]] * excess
        for index, _ in rest:
            deviation += theta[index]
            deviation *= excess
        return deviation
    return sum((theta[index] * term.value(ratio) for index, term in part.terms), np.zeros_like(ratio))


class Its90Grid:
    """The equation laid on (n,) temperatures."""

    def __init__(self, form: Its90Form, temperature_c: FloatArray) -> None:
        self._size = len(form.parameters)
        self._served = list(_rows(form.parts, temperature_c < TRIPLE_POINT_OF_WATER_C))
        self._wr, self._slope = np.empty_like(temperature_c), np.empty_like(temperature_c)
        for part, rows in self._served:
            self._wr[rows], self._slope[rows] = part.branch.ratio_and_slope(temperature_c[rows])

    def _basis(self, ratio: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(n, k) terms and their derivatives by W; the column of R(TPW) is zero."""
        basis, slope = np.zeros((2, ratio.size, self._size))
        for part, rows in self._served:
            basis[rows, part.columns], slope[rows, part.columns] = part.subrange.basis_and_slope(ratio[rows])
        return basis, slope

    def _deviation(self, ratio: FloatArray, theta: FloatArray) -> FloatArray:
        deviation = np.empty_like(ratio)
        for part, rows in self._served:
            deviation[rows] = _deviation(part, ratio[rows], theta)
        return deviation

    def _ratio(self, theta: FloatArray) -> FloatArray:
        """W(t) from W - dW(W) = Wr(t): chord steps from Wr."""
        steepness = 1 - self._basis(self._wr)[1] @ theta
        ratio = self._wr.copy()
        for _ in range(_CHORD_STEPS):
            step = (ratio - self._deviation(ratio, theta) - self._wr) / steepness
            ratio -= step
            if np.abs(step).max() < _CHORD_DONE:
                break
        return ratio

    def start(self, resistance_ohm: FloatArray) -> FloatArray:
        """R(TPW) from the point nearest 0 °C, no deviation."""
        nearest = int(np.argmin(np.abs(self._wr - 1)))
        start = np.zeros(self._size)
        start[0] = resistance_ohm[nearest] / self._wr[nearest]
        return start

    def resistance_ohm(self, theta: FloatArray) -> FloatArray:
        """R(t), (n,)."""
        resistance: FloatArray = theta[0] * self._ratio(theta)
        return resistance

    def linearise(self, resistance_ohm: FloatArray, theta: FloatArray) -> Linearised:
        """Residuals, gradients and sensitivities at the measured ratios, as the scale defines dW."""
        ratio = resistance_ohm / theta[0]
        gradient, slope = self._basis(ratio)
        steepness = 1 - slope @ theta
        residual = (ratio - gradient @ theta - self._wr) / self._slope
        gradient[:, 0] = ratio * steepness / theta[0]
        return Linearised(residual, gradient / self._slope[:, None], theta[0] * self._slope / steepness)

    def residual_k(self, resistance_ohm: FloatArray, theta: FloatArray) -> FloatArray:
        """Residuals in K of many trials."""
        ratio = resistance_ohm * (1 / theta[0])
        residual: FloatArray = ratio - self._deviation(ratio, theta)
        residual -= self._wr[:, None]
        residual *= (1 / self._slope)[:, None]
        return residual
