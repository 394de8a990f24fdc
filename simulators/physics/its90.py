"""W(t90) of a platinum thermometer on the International Temperature Scale of 1990.

Written for the simulators alone: the fits have their own, so that one error cannot hide in both.
Source of reference functions and deviation functions: ITS-90 text, Metrologia 27 (1990) 3-10,
equations (9a), (10a), (11) to (14), Tables 4 and 5.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from drivers.quantities import ICE_POINT_K, TRIPLE_POINT_OF_WATER_C, TRIPLE_POINT_OF_WATER_K

REFERENCE_BELOW = (
    -2.13534729, 3.18324720, -1.80143597, 0.71727204, 0.50344027, -0.61899395, -0.05332322,
    0.28021362, 0.10715224, -0.29302865, 0.04459872, 0.11868632, -0.05248134,
)  # fmt: skip
REFERENCE_ABOVE = (
    2.78157254, 1.64650916, -0.13714390, -0.00649767, -0.00234444,
    0.00511868, 0.00187982, -0.00204472, -0.00046122, 0.00045724,
)  # fmt: skip

Deviation = Callable[[float], float]
"""W of the thermometer → W - Wr."""

FIRST_LOGARITHM_POWER = {"3.3.1": 3, "3.3.1.1": 1, "3.3.1.2": 2}
FIXED_POINT_ROUNDS = 10


BELOW_HIGHEST_FIRST = REFERENCE_BELOW[::-1]
ABOVE_HIGHEST_FIRST = REFERENCE_ABOVE[::-1]


def _polynomial(highest_first: tuple[float, ...], x: float) -> float:
    value = 0.0
    for coefficient in highest_first:
        value = value * x + coefficient
    return value


def reference_below(t_c: float) -> float:
    """Wr for 13.8033 K to 273.16 K, t90 in °C; equation (9a)."""
    x = (math.log((t_c + ICE_POINT_K) / TRIPLE_POINT_OF_WATER_K) + 1.5) / 1.5
    return math.exp(_polynomial(BELOW_HIGHEST_FIRST, x))


def reference_above(t_c: float) -> float:
    """Wr for 0 °C to 961.78 °C, t90 in °C; equation (10a)."""
    return _polynomial(ABOVE_HIGHEST_FIRST, (t_c + ICE_POINT_K - 754.15) / 481.0)


def deviation(subrange: str, coefficients: Mapping[str, float]) -> Deviation:
    """The deviation function of a sub-range such as "3.3.1.3" or "3.3.2.2" (Table 5).

    Coefficients by name: a, b, c, d with w_al for 3.3.2; a, b, c1 ... c5 below the triple point.
    """
    a, b = coefficients["a"], coefficients.get("b", 0.0)
    if subrange == "3.3.1.3":
        return lambda w: (w - 1.0) * (a + b * math.log(w))
    if subrange.startswith("3.3.1"):
        return _with_logarithms(a, b, coefficients, FIRST_LOGARITHM_POWER[subrange])
    if coefficients.get("d"):
        return _with_silver(a, b, coefficients)
    c = coefficients.get("c", 0.0)
    return lambda w: (w - 1.0) * (a + (w - 1.0) * (b + (w - 1.0) * c))


def _with_logarithms(a: float, b: float, named: Mapping[str, float], power: int) -> Deviation:
    series = (*(named.get(f"c{i}", 0.0) for i in range(5, 0, -1)), *([0.0] * power))
    return lambda w: (w - 1.0) * (a + (w - 1.0) * b) + _polynomial(series, math.log(w))


def _with_silver(a: float, b: float, named: Mapping[str, float]) -> Deviation:
    c, d, w_al = named["c"], named["d"], named["w_al"]

    def silver(w: float) -> float:
        cubic = (w - 1.0) * (a + (w - 1.0) * (b + (w - 1.0) * c))
        return cubic + (d * (w - w_al) ** 2 if w > w_al else 0.0)

    return silver


def ratio(t_c: float, below: Deviation, above: Deviation, high_from_c: float = 0.0) -> float:
    """W(t90) of a thermometer, t90 in °C: W - dW(W) = Wr solved for W.

    The deviation is some 1e-4 of W (1e-2 for industrial purity), so each round of W = Wr + dW(W) gains
    two digits or more. The high functions hold from `high_from_c`: 0 °C, or the triple point of water
    for sub-range 3.3.3.
    """
    if t_c >= high_from_c:
        reference, departs = reference_above(t_c), above
    else:
        reference, departs = reference_below(t_c), below
    w = reference
    for _ in range(FIXED_POINT_ROUNDS):
        better = reference + departs(w)
        if abs(better - w) < 1e-13:
            return better
        w = better
    return w


MIDDLE_SUBRANGE_HIGH_FROM_C = TRIPLE_POINT_OF_WATER_C
"""Sub-range 3.3.3 changes reference function at the triple point of water, all others at 0 °C."""
