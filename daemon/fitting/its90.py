"""ITS-90 reference functions for platinum resistance thermometers and their exact inverses.

Source of every formula and coefficient: The International Temperature Scale of 1990, Metrologia 27
(1990) 3-10, equations (9a) (9b) (10a) (10b) and Table 4. Temperatures are t90 in °C at the surface
of this module; ratios W are resistance over the resistance at the triple point of water, 273.16 K.

The published inverses (9b) and (10b) are up to 0.096 mK and 0.134 mK off. Here they only start
Newton steps on (9a) and (10a). For speed the exact inverse is carried by one polynomial a branch,
laid through Newton's values at Chebyshev nodes when first needed; it stays within 1e-9 K of the root.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from daemon.fitting.arrays import BLOCK, FloatArray, as_floats, derivative, horner, horner_of_one
from daemon.fitting.errors import OutsideRange
from drivers.quantities import ICE_POINT_K, TRIPLE_POINT_OF_WATER_C, TRIPLE_POINT_OF_WATER_K

LOWEST_C = 13.8033 - ICE_POINT_K
HIGHEST_C = 961.78

_A = (
    -2.13534729, 3.18324720, -1.80143597, 0.71727204, 0.50344027, -0.61899395, -0.05332322,
    0.28021362, 0.10715224, -0.29302865, 0.04459872, 0.11868632, -0.05248134,
)  # fmt: skip
_B = (
    0.183324722, 0.240975303, 0.209108771, 0.190439972, 0.142648498, 0.077993465, 0.012475611,
    -0.032267127, -0.075291522, -0.056470670, 0.076201285, 0.123893204, -0.029201193, -0.091173542,
    0.001317696, 0.026025526,
)  # fmt: skip
_C = (
    2.78157254, 1.64650916, -0.13714390, -0.00649767, -0.00234444, 0.00511868, 0.00187982, -0.00204472,
    -0.00046122, 0.00045724,
)  # fmt: skip
_D = (
    439.932854, 472.418020, 37.684494, 7.472018, 2.920828, 0.005184, -0.963864, -0.188732, 0.191203, 0.049025,
)  # fmt: skip

_A_DOWN, _B_DOWN, _C_DOWN, _D_DOWN = (_A[::-1], _B[::-1], _C[::-1], _D[::-1])
_A_SLOPE, _C_SLOPE = derivative(_A_DOWN), derivative(_C_DOWN)

# Below this ratio (just under the argon point) one polynomial in W no longer serves; Newton does.
_DEEP_RATIO = 0.2155


def _low_ratio(temperature_c: FloatArray) -> FloatArray:
    x = (np.log((temperature_c + ICE_POINT_K) / TRIPLE_POINT_OF_WATER_K) + 1.5) / 1.5
    return np.exp(horner(_A_DOWN, x))


def _low_both(temperature_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    kelvin = temperature_c + ICE_POINT_K
    x = (np.log(kelvin / TRIPLE_POINT_OF_WATER_K) + 1.5) / 1.5
    ratio = np.exp(horner(_A_DOWN, x))
    return ratio, ratio * horner(_A_SLOPE, x) / (1.5 * kelvin)


def _low_start(ratio: FloatArray) -> FloatArray:
    x = (np.sqrt(np.cbrt(ratio)) - 0.65) / 0.35
    return TRIPLE_POINT_OF_WATER_K * horner(_B_DOWN, x) - ICE_POINT_K


def _high_ratio(temperature_c: FloatArray) -> FloatArray:
    return horner(_C_DOWN, (temperature_c - (754.15 - ICE_POINT_K)) / 481.0)


def _high_both(temperature_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    x = (temperature_c - (754.15 - ICE_POINT_K)) / 481.0
    return horner(_C_DOWN, x), horner(_C_SLOPE, x) / 481.0


def _high_start(ratio: FloatArray) -> FloatArray:
    return horner(_D_DOWN, (ratio - 2.64) / 1.64)


@dataclass(frozen=True)
class Branch:
    """One reference function: Wr(t), it together with dWr/dT in 1/K, and the published approximate inverse.

    `span_c` is where its exact polynomial inverse holds: a little wider than the published range, since
    a bath at 0 °C may stand a few millikelvin on the other side (the two functions agree there to
    microkelvins). All functions take and return arrays.
    """

    name: str
    span_c: tuple[float, float]
    ratio: Callable[[FloatArray], FloatArray]
    ratio_and_slope: Callable[[FloatArray], tuple[FloatArray, FloatArray]]
    published_inverse_c: Callable[[FloatArray], FloatArray]
    degree: int

    def slope_per_k(self, temperature_c: FloatArray) -> FloatArray:
        """dWr/dT in 1/K at t90 in °C, any shape."""
        return self.ratio_and_slope(temperature_c)[1]

    def newton_c(self, ratio: FloatArray, steps: int = 3) -> FloatArray:
        """t90 in °C by Newton steps on the reference function from the published inverse."""
        temperature_c = self.published_inverse_c(ratio)
        for _ in range(steps):
            temperature_c -= (self.ratio(temperature_c) - ratio) / self.slope_per_k(temperature_c)
        return temperature_c

    @cached_property
    def _ratio_span(self) -> tuple[float, float]:
        low, high = self.ratio(np.array(self.span_c))
        return float(low), float(high)

    @cached_property
    def _middle_and_half(self) -> tuple[float, float]:
        low, high = self._ratio_span
        return (low + high) / 2, (high - low) / 2

    @cached_property
    def _exact(self) -> tuple[float, ...]:
        from numpy.polynomial import Chebyshev, Polynomial

        middle, half = self._middle_and_half
        series = Chebyshev.interpolate(lambda x: self.newton_c(middle + half * x), self.degree)
        return tuple(float(c) for c in series.convert(kind=Polynomial).coef[::-1])

    def inverse_c(self, ratio: FloatArray, out: FloatArray) -> None:
        """t90 in °C for a block of ratios inside the span, written into `out` (same shape)."""
        middle, half = self._middle_and_half
        x = ratio - middle
        x *= 1 / half
        first, second, *rest = self._exact
        np.multiply(x, first, out=out)
        out += second
        for coefficient in rest:
            out *= x
            out += coefficient

    def inverse_of_one_c(self, ratio: float) -> float:
        """t90 in °C for one ratio inside the span, plain Python."""
        middle, half = self._middle_and_half
        return horner_of_one(self._exact, (ratio - middle) / half)


LOW = Branch("low (13.8033 K to 273.16 K)", (-189.45, 1.0), _low_ratio, _low_both, _low_start, 22)
HIGH = Branch("high (0 °C to 961.78 °C)", (-1.0, 961.79), _high_ratio, _high_both, _high_start, 18)


def reference_ratio(temperature_c: ArrayLike) -> FloatArray:
    """Wr(t90), equations (9a) below 0.01 °C and (10a) from there on; t90 in °C, any shape.

    Raises OutsideRange beyond -259.3467 °C to 961.78 °C. The choice is made on the Celsius number:
    in kelvins 0.01 + 273.15 falls just short of 273.16 in binary arithmetic.
    """
    return _piecewise(as_floats(temperature_c), _low_ratio, _high_ratio)


def reference_slope_per_k(temperature_c: ArrayLike) -> FloatArray:
    """dWr/dT in 1/K, analytic derivative of (9a) and (10a); t90 in °C, any shape; raises OutsideRange."""
    return _piecewise(as_floats(temperature_c), LOW.slope_per_k, HIGH.slope_per_k)


def _piecewise(
    temperature_c: FloatArray,
    low: Callable[[FloatArray], FloatArray],
    high: Callable[[FloatArray], FloatArray],
) -> FloatArray:
    if temperature_c.size == 0:
        return np.empty_like(temperature_c)
    lowest, highest = temperature_c.min(), temperature_c.max()
    if not (lowest >= LOWEST_C and highest <= HIGHEST_C):
        raise OutsideRange(
            f"the ITS-90 reference functions hold from {LOWEST_C:.4f} °C to {HIGHEST_C} °C; "
            f"asked for {lowest:.4f} °C to {highest:.4f} °C"
        )
    if lowest >= TRIPLE_POINT_OF_WATER_C:
        return high(temperature_c)
    if highest < TRIPLE_POINT_OF_WATER_C:
        return low(temperature_c)
    below = temperature_c < TRIPLE_POINT_OF_WATER_C
    result = np.empty_like(temperature_c)
    result[below], result[~below] = low(temperature_c[below]), high(temperature_c[~below])
    return result


# A reading at the very end of the scale may round past it: 1e-8 in W is 3 µK there.
_LOWEST_RATIO = 0.00119006806901 - 1e-12
_HIGHEST_RATIO = 4.2864205276 + 1e-8


def temperature_c(reference_ratio: ArrayLike) -> FloatArray:
    """t90 in °C from Wr, any shape: the exact inverse of (9a) below Wr = 1 and of (10a) from there on.

    Within 1e-9 K of the root. Raises OutsideRange when Wr is not inside 0.00119007 to 4.28642053.
    At Wr = 1 the two published functions meet within 1.4 µK, so does this inverse.
    """
    ratio = np.ascontiguousarray(reference_ratio, dtype=np.float64)
    flat = ratio.reshape(-1)
    out = np.empty_like(flat)
    for start in range(0, flat.size, BLOCK):
        _invert_block(flat[start : start + BLOCK], out[start : start + BLOCK])
    return out.reshape(np.shape(reference_ratio))


def _invert_block(ratio: FloatArray, out: FloatArray) -> None:
    lowest, highest = ratio.min(), ratio.max()
    if not (lowest >= _LOWEST_RATIO and highest <= _HIGHEST_RATIO):
        raise _outside(lowest, highest)
    if lowest >= 1.0:
        HIGH.inverse_c(ratio, out)
    elif highest < 1.0 and lowest >= _DEEP_RATIO:
        LOW.inverse_c(ratio, out)
    else:
        _invert_mixed(ratio, out)


def _invert_mixed(ratio: FloatArray, out: FloatArray) -> None:
    high = ratio >= 1.0
    for branch, mask in ((LOW, ~high), (HIGH, high)):
        part = ratio[mask]
        found = np.empty_like(part)
        invert(branch, part, found)
        out[mask] = found


def invert(branch: Branch, ratio: FloatArray, out: FloatArray) -> None:
    """t90 in °C for a block of ratios by one branch, written into `out`; the caller has checked the range."""
    branch.inverse_c(ratio, out)
    if branch is LOW and ratio.size and ratio.min() < _DEEP_RATIO:
        deep = ratio < _DEEP_RATIO
        out[deep] = LOW.newton_c(ratio[deep])


def invert_one(branch: Branch, ratio: float) -> float:
    """`invert` for one number."""
    if branch is LOW and ratio < _DEEP_RATIO:
        return _deep_of_one_c(ratio)
    return branch.inverse_of_one_c(ratio)


def temperature_of_one_c(reference_ratio: float) -> float:
    """`temperature_c` for a single number, in plain Python (about 1 µs); raises OutsideRange."""
    if not (_LOWEST_RATIO <= reference_ratio <= _HIGHEST_RATIO):
        raise _outside(reference_ratio, reference_ratio)
    return invert_one(HIGH if reference_ratio >= 1.0 else LOW, reference_ratio)


def _deep_of_one_c(ratio: float) -> float:
    kelvin = TRIPLE_POINT_OF_WATER_K * horner_of_one(_B_DOWN, (ratio ** (1 / 6) - 0.65) / 0.35)
    for _ in range(3):
        x = (math.log(kelvin / TRIPLE_POINT_OF_WATER_K) + 1.5) / 1.5
        excess = horner_of_one(_A_DOWN, x) - math.log(ratio)
        kelvin -= excess * 1.5 * kelvin / horner_of_one(_A_SLOPE, x)
    return kelvin - ICE_POINT_K


def _outside(lowest: float, highest: float) -> OutsideRange:
    return OutsideRange(
        "the ITS-90 reference functions hold for Wr from 0.00119007 to 4.28642053 "
        f"(13.8033 K to 1234.93 K); asked for {lowest:.8g} to {highest:.8g}"
    )
