"""Callendar-Van Dusen equation of IEC 60751, forward and inverse.

Source: IEC 60751:2008: R(t) = R0 (1 + A t + B t² + C (t - 100 °C) t³), the C term below 0 °C only.
t is t90 in °C, A in 1/°C, B in 1/°C², C in 1/°C⁴. Functions of the ratio r = R/R0; arrays of any shape.
The caller keeps t inside -200 °C to 850 °C.
"""

from __future__ import annotations

import math

import numpy as np

from daemon.fitting.arrays import BLOCK, FloatArray

# One coefficient for all temperatures, or an array of them (one a trial) that broadcasts against them.
Coefficient = float | FloatArray

IEC_A, IEC_B, IEC_C = 3.9083e-3, -5.775e-7, -4.183e-12
LOWEST_C, HIGHEST_C = -200.0, 850.0
_NEWTON_STEPS = 3


def ratio(temperature_c: FloatArray, a: Coefficient, b: Coefficient, c: Coefficient) -> FloatArray:
    """R(t)/R0."""
    quadratic = 1 + temperature_c * (a + b * temperature_c)
    result: FloatArray = quadratic + c * cold_term(temperature_c)
    return result


def cold_term(temperature_c: FloatArray) -> FloatArray:
    """(t - 100 °C) t³ below 0 °C, zero from there on."""
    cold = np.minimum(temperature_c, 0.0)
    term: FloatArray = (cold - 100) * cold**3
    return term


def slope_per_k(temperature_c: FloatArray, a: Coefficient, b: Coefficient, c: Coefficient) -> FloatArray:
    """d(R/R0)/dt in 1/K."""
    cold = np.minimum(temperature_c, 0.0)
    result: FloatArray = a + 2 * b * temperature_c + c * cold**2 * (4 * cold - 300)
    return result


def temperature_c(ratio_to_r0: FloatArray, a: float, b: float, c: float) -> FloatArray:
    """t90 in °C from R/R0 (any shape), exact to rounding.

    Above 0 °C the closed form 2(r-1)/(A + √(A² + 4B(r-1))), which loses nothing near 0 °C; below it the
    same as a start for three Newton steps.
    """
    flat = np.ascontiguousarray(ratio_to_r0, dtype=np.float64).reshape(-1)
    out = np.empty_like(flat)
    for start in range(0, flat.size, BLOCK):
        block = flat[start : start + BLOCK]
        out[start : start + BLOCK] = _invert(block, a, b, c)
    return out.reshape(np.shape(ratio_to_r0))


def _invert(block: FloatArray, a: float, b: float, c: float) -> FloatArray:
    excess = block - 1
    found = 2 * excess / (a + np.sqrt(a * a + 4 * b * excess))
    cold = excess < 0
    if cold.any():
        found[cold] = _newton(block[cold], found[cold], a, b, c)
    return found


def _newton(target: FloatArray, start_c: FloatArray, a: float, b: float, c: float) -> FloatArray:
    for _ in range(_NEWTON_STEPS):
        start_c -= (ratio(start_c, a, b, c) - target) / slope_per_k(start_c, a, b, c)
    return start_c


def temperature_of_one_c(ratio_to_r0: float, a: float, b: float, c: float) -> float:
    """`temperature_c` for a single number, plain Python."""
    excess = ratio_to_r0 - 1
    t = 2 * excess / (a + math.sqrt(a * a + 4 * b * excess))
    if excess >= 0:
        return t
    for _ in range(_NEWTON_STEPS):
        value = 1 + t * (a + b * t) + c * (t - 100) * t**3
        t -= (value - ratio_to_r0) / (a + 2 * b * t + c * t * t * (4 * t - 300))
    return t
