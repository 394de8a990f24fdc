"""A polynomial on the deviation from a reference function, for thermometers that follow neither form well.

R(t) = R0nom · (IEC 60751:2008 characteristic) + Σ p_k (t/100 °C)^k, k = 0 ... order, p_k in ohm. common
practice, no source for the choice of variable.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from daemon.fitting import callendar_van_dusen as cvd
from daemon.fitting.arrays import FloatArray
from daemon.fitting.equation import Linearised

_NEWTON_STEPS = 4


@dataclass(frozen=True)
class DeviationPolynomial:
    """Order of the polynomial, and the nominal R0 of the characteristic it deviates from."""

    order: int
    r0_nominal_ohm: float = 100.0

    kind = "polynomial"

    @property
    def parameters(self) -> tuple[str, ...]:
        """p0 ... p_order."""
        return tuple(f"p{k}" for k in range(self.order + 1))

    @property
    def units(self) -> tuple[str, ...]:
        """All in ohm."""
        return ("Ω",) * (self.order + 1)

    @property
    def description(self) -> str:
        """The equation in one line."""
        return f"R = IEC 60751 for R0 = {self.r0_nominal_ohm:g} Ω + Σ p_k·(t/100 °C)^k, k = 0 … {self.order}"

    def at(self, temperature_c: FloatArray) -> DeviationGrid:
        """Lay the equation on (n,) temperatures."""
        return DeviationGrid(self, temperature_c)

    def temperature_c(self, resistance_ohm: FloatArray, theta: FloatArray) -> FloatArray:
        """t90 in °C by Newton from the nominal inverse; shapes as in `Equation.temperature_c`."""
        ratio = resistance_ohm / self.r0_nominal_ohm
        found = cvd.temperature_c(ratio, cvd.IEC_A, cvd.IEC_B, cvd.IEC_C)
        for _ in range(_NEWTON_STEPS):
            value, slope = self._value_and_slope(found, theta)
            found -= (value - resistance_ohm) / slope
        return found

    def _value_and_slope(self, t: FloatArray, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        x = t / 100
        deviation, slope = np.zeros_like(t), np.zeros_like(t)
        for coefficient in theta[::-1]:
            slope = slope * x + deviation
            deviation = deviation * x + coefficient
        r0 = self.r0_nominal_ohm
        value = r0 * cvd.ratio(t, cvd.IEC_A, cvd.IEC_B, cvd.IEC_C) + deviation
        return value, r0 * cvd.slope_per_k(t, cvd.IEC_A, cvd.IEC_B, cvd.IEC_C) + slope / 100

    def temperature_of_one_c(self, resistance_ohm: float, theta: tuple[float, ...]) -> float:
        """The same for one number."""
        a, b, c, r0 = cvd.IEC_A, cvd.IEC_B, cvd.IEC_C, self.r0_nominal_ohm
        t = cvd.temperature_of_one_c(resistance_ohm / r0, a, b, c)
        for _ in range(_NEWTON_STEPS):
            x, deviation, slope, cold = t / 100, 0.0, 0.0, min(t, 0.0)
            for coefficient in reversed(theta):
                slope = slope * x + deviation
                deviation = deviation * x + coefficient
            value = r0 * (1 + t * (a + b * t) + c * (cold - 100) * cold**3) + deviation
            steepness = r0 * (a + 2 * b * t + c * cold * cold * (4 * cold - 300)) + slope / 100
            t -= (value - resistance_ohm) / steepness
        return t

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready description."""
        return {"kind": self.kind, "order": self.order, "r0_nominal_ohm": self.r0_nominal_ohm}


class DeviationGrid:
    """The equation laid on (n,) temperatures."""

    def __init__(self, equation: DeviationPolynomial, temperature_c: FloatArray) -> None:
        r0, x = equation.r0_nominal_ohm, temperature_c / 100
        self._powers = np.stack([x**k for k in range(equation.order + 1)], axis=-1)
        rise = [np.zeros_like(x), *(k * x ** (k - 1) / 100 for k in range(1, equation.order + 1))]
        self._slopes = np.stack(rise, axis=-1)
        self._nominal = r0 * cvd.ratio(temperature_c, cvd.IEC_A, cvd.IEC_B, cvd.IEC_C)
        self._nominal_slope = r0 * cvd.slope_per_k(temperature_c, cvd.IEC_A, cvd.IEC_B, cvd.IEC_C)

    def start(self, resistance_ohm: FloatArray) -> FloatArray:
        """No deviation."""
        return np.zeros(self._powers.shape[1])

    def resistance_ohm(self, theta: FloatArray) -> FloatArray:
        """R(t), (n,)."""
        resistance: FloatArray = self._nominal + self._powers @ theta
        return resistance

    def linearise(self, resistance_ohm: FloatArray, theta: FloatArray) -> Linearised:
        """Residuals, gradients and sensitivities."""
        sensitivity = self._nominal_slope + self._slopes @ theta
        residual = (resistance_ohm - self.resistance_ohm(theta)) / sensitivity
        return Linearised(residual, self._powers / sensitivity[:, None], sensitivity)

    def residual_k(self, resistance_ohm: FloatArray, theta: FloatArray) -> FloatArray:
        """Residuals in K of many trials."""
        residual: FloatArray = resistance_ohm - self._nominal[:, None] - self._powers @ theta
        return residual / (self._nominal_slope[:, None] + self._slopes @ theta)
