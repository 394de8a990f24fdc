"""Our own typed model of the quantities in a digital certificate, stricter than the schema.

The XSD lets two uncertainties stand for three values and takes any text for a unit; this does not.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from statistics import NormalDist

from daemon.results.dcc.units import unit_problem

_DECIMAL = re.compile(r"-?\d+(\.\d+)?([eE][-+]?\d+)?")
_SMALLEST_K_SHARE = 0.95
_LARGEST_K = 15.0
"""k of one degree of freedom at 95 % is 12.7 (JCGM 100:2008, table G.2)."""


class DccError(Exception):
    """The digital certificate cannot be written or read; the message says what is wrong in it."""


@dataclass(frozen=True, slots=True)
class Expanded:
    """Expanded uncertainties, one a value, with their coverage factors and one probability."""

    values: tuple[str, ...]
    factors: tuple[str, ...]
    probability: str = "0.95"


@dataclass(frozen=True, slots=True)
class Quantity:
    """A named list of numbers as decimal texts (one number is a list of one), with unit and uncertainty."""

    name: str
    ref_type: str
    unit: str
    values: tuple[str, ...]
    expanded: Expanded | None = None

    def __post_init__(self) -> None:
        problem = self._problem()
        if problem:
            raise DccError(f"quantity {self.name!r}: {problem}")

    def _problem(self) -> str:
        if not self.values:
            return "has no value"
        bad = [value for value in self.values if not _DECIMAL.fullmatch(value)]
        if bad:
            return f"{bad[0]!r} is not a decimal number"
        return unit_problem(self.unit) or (_expanded_problem(self) if self.expanded is not None else "")


def _expanded_problem(quantity: Quantity) -> str:
    expanded = quantity.expanded
    assert expanded is not None
    wanted = len(quantity.values)
    lengths = {"uncertainties": len(expanded.values), "coverage factors": len(expanded.factors)}
    for what, count in lengths.items():
        if count != wanted:
            return f"{count} {what} for {wanted} values"
    for text in (*expanded.values, *expanded.factors, expanded.probability):
        if not _DECIMAL.fullmatch(text) or not (0 <= float(text) < math.inf):
            return f"{text!r} is not an uncertainty, a coverage factor or a probability"
    return next(
        (problem for k in expanded.factors if (problem := _factor_problem(k, expanded.probability))), ""
    )


def _factor_problem(factor: str, probability: str) -> str:
    """A coverage factor that no distribution gives for this probability: rectangular is the narrowest."""
    p, k = float(probability), float(factor)
    if not (0 < p < 1):
        return f"a coverage probability of {probability} is not between 0 and 1"
    smallest = min(math.sqrt(3.0) * p, NormalDist().inv_cdf((1 + p) / 2)) * _SMALLEST_K_SHARE
    if not (smallest <= k <= _LARGEST_K and k >= 1):
        return f"k = {factor} does not belong to a coverage probability of {probability}"
    return ""
