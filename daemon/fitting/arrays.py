"""Array type and the two numerical tools every equation shares: Horner's rule in place, and blocks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# 32 Ki doubles: the working arrays stay in the second-level cache, the call overhead is still small.
BLOCK = 32 * 1024


def as_floats(values: ArrayLike) -> FloatArray:
    """The values as an array of doubles (shape kept)."""
    return np.asarray(values, dtype=np.float64)


def horner(coefficients_from_highest: Sequence[float], x: FloatArray) -> FloatArray:
    """Polynomial in `x` (any shape, at least two coefficients); new array of the same shape."""
    first, second, *rest = coefficients_from_highest
    y: FloatArray = x * first
    y += second
    for coefficient in rest:
        y *= x
        y += coefficient
    return y


def horner_of_one(coefficients_from_highest: Sequence[float], x: float) -> float:
    """The same for one number, in plain Python: numpy costs tens of microseconds on a single value."""
    y = 0.0
    for coefficient in coefficients_from_highest:
        y = y * x + coefficient
    return y


def derivative(coefficients_from_highest: Sequence[float]) -> tuple[float, ...]:
    """Coefficients (highest first) of the derivative."""
    degree = len(coefficients_from_highest) - 1
    return tuple(c * (degree - i) for i, c in enumerate(coefficients_from_highest[:-1]))
