"""Callendar-Van Dusen as a fittable equation: R0, A, B and, where points below 0 °C fix it, C.

Both branches share R0, A and B. Source of the form: IEC 60751:2008.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from daemon.fitting import callendar_van_dusen as cvd
from daemon.fitting.arrays import FloatArray
from daemon.fitting.equation import Linearised


@dataclass(frozen=True)
class CallendarVanDusen:
    """R0 (1 + A t + B t² + C (t-100) t³); `fixed_c` is C where the fit does not seek it, else None."""

    fixed_c: float | None = cvd.IEC_C

    kind = "callendar_van_dusen"

    @property
    def parameters(self) -> tuple[str, ...]:
        """R0, A, B and C when fitted."""
        return ("R0", "A", "B") if self.fixed_c is not None else ("R0", "A", "B", "C")

    @property
    def units(self) -> tuple[str, ...]:
        """Units as printed."""
        return ("Ω", "1/°C", "1/°C²", "1/°C⁴")[: len(self.parameters)]

    @property
    def description(self) -> str:
        """The equation in one line."""
        form = "R = R0·(1 + A·t + B·t²); below 0 °C + R0·C·(t - 100 °C)·t³"
        return form if self.fixed_c is None else f"{form} with C fixed at {self.fixed_c:g} 1/°C⁴"

    def abc(self, theta: FloatArray) -> tuple[Any, Any, Any]:
        """A, B, C from θ."""
        return theta[1], theta[2], theta[3] if self.fixed_c is None else self.fixed_c

    def at(self, temperature_c: FloatArray) -> CallendarVanDusenGrid:
        """Lay the equation on (n,) temperatures."""
        return CallendarVanDusenGrid(self, temperature_c)

    def temperature_c(self, resistance_ohm: FloatArray, theta: FloatArray) -> FloatArray:
        """t90 in °C, exact inverse; shapes as in `Equation.temperature_c`."""
        a, b, c = self.abc(theta)
        if theta.ndim == 1:
            return cvd.temperature_c(resistance_ohm / theta[0], a, b, c)
        return _many(resistance_ohm / theta[0], a, b, c)

    def temperature_of_one_c(self, resistance_ohm: float, theta: tuple[float, ...]) -> float:
        """The same for one number."""
        c = theta[3] if self.fixed_c is None else self.fixed_c
        return cvd.temperature_of_one_c(resistance_ohm / theta[0], theta[1], theta[2], c)

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready description."""
        return {"kind": self.kind, "fixed_c": self.fixed_c}


def _many(ratio: FloatArray, a: FloatArray, b: FloatArray, c: Any) -> FloatArray:
    excess = ratio - 1
    found = 2 * excess / (a + np.sqrt(a * a + 4 * b * excess))
    if (excess < 0).any():
        for _ in range(3):
            found -= (cvd.ratio(found, a, b, c) - ratio) / cvd.slope_per_k(found, a, b, c)
    return found


class CallendarVanDusenGrid:
    """The equation laid on (n,) temperatures."""

    def __init__(self, equation: CallendarVanDusen, temperature_c: FloatArray) -> None:
        self._equation = equation
        self._t = temperature_c
        self._square = temperature_c * temperature_c
        self._cold = cvd.cold_term(temperature_c)

    def _ratio(self, theta: FloatArray) -> FloatArray:
        a, b, c = self._equation.abc(theta)
        ratio: FloatArray = 1 + a * self._t + b * self._square + c * self._cold
        return ratio

    def start(self, resistance_ohm: FloatArray) -> FloatArray:
        """Nominal A, B, C, and R0 from the point nearest 0 °C."""
        nearest = int(np.argmin(np.abs(self._t)))
        nominal = cvd.ratio(self._t[nearest : nearest + 1], cvd.IEC_A, cvd.IEC_B, cvd.IEC_C)
        start = [resistance_ohm[nearest] / nominal[0], cvd.IEC_A, cvd.IEC_B, cvd.IEC_C]
        return np.array(start[: len(self._equation.parameters)])

    def resistance_ohm(self, theta: FloatArray) -> FloatArray:
        """R(t), (n,)."""
        resistance: FloatArray = theta[0] * self._ratio(theta)
        return resistance

    def linearise(self, resistance_ohm: FloatArray, theta: FloatArray) -> Linearised:
        """Residuals, gradients and sensitivities."""
        r0, ratio = theta[0], self._ratio(theta)
        sensitivity = r0 * cvd.slope_per_k(self._t, *self._equation.abc(theta))
        columns = (ratio, r0 * self._t, r0 * self._square, r0 * self._cold)[: len(theta)]
        gradient = np.stack(columns, axis=-1) / sensitivity[:, None]
        return Linearised((resistance_ohm - r0 * ratio) / sensitivity, gradient, sensitivity)

    def residual_k(self, resistance_ohm: FloatArray, theta: FloatArray) -> FloatArray:
        """Residuals in K of many trials; the sensitivity is that of each trial."""
        a, b, c = self._equation.abc(theta)
        column = self._t[:, None]
        residual: FloatArray = resistance_ohm - theta[0] * cvd.ratio(column, a, b, c)
        residual /= theta[0] * cvd.slope_per_k(column, a, b, c)
        return residual
