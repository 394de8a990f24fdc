"""Coefficients as printed: rounding costs at most 0.1 mK, and pairs to check a transcription by."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daemon.fitting.arrays import FloatArray
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.fixed_points import FIXED_POINTS

ROUNDING_COST_MK = 0.1
_GRID = 41


@dataclass(frozen=True)
class Coefficient:
    """One printed coefficient; `printed` the rounded value as text, `standard` its standard uncertainty."""

    name: str
    value: float
    printed: str
    standard: float
    unit: str


@dataclass(frozen=True)
class CheckPair:
    """A resistance and the t90 the printed coefficients give for it, to 0.1 mK."""

    resistance_ohm: float
    temperature_c: float


def printed_coefficients(characteristic: Characteristic) -> tuple[Coefficient, ...]:
    """The coefficients with digits enough that all roundings together move t90 by at most 0.1 mK."""
    low, high = characteristic.range_c
    grid = characteristic.equation.at(np.linspace(low, high, _GRID))
    theta = np.array(characteristic.theta)
    gradient = np.abs(grid.linearise(grid.resistance_ohm(theta), theta).gradient_k).max(axis=0)
    share_k = ROUNDING_COST_MK * 1e-3 / len(theta)
    standard = np.sqrt(np.diagonal(characteristic.covariance))
    equation = characteristic.equation
    return tuple(
        Coefficient(name, value, _rounded(value, share_k, steepest), float(u), unit)
        for name, unit, value, steepest, u in zip(
            equation.parameters, equation.units, characteristic.theta, gradient, standard, strict=True
        )
    )


def _rounded(value: float, share_k: float, steepest: float) -> str:
    last_place = math.floor(math.log10(2 * share_k / max(steepest, 1e-30)))
    magnitude = math.floor(math.log10(abs(value))) if value else last_place
    if magnitude >= -2:
        return f"{value:.{max(-last_place, 0)}f}"
    return f"{value:.{max(magnitude - last_place, 0)}e}"


def as_printed(characteristic: Characteristic) -> FloatArray:
    """The parameters a reader would type in, (k,)."""
    return np.array([float(c.printed) for c in printed_coefficients(characteristic)])


def rounding_cost_mk(characteristic: Characteristic) -> float:
    """Largest change of t90 over the range caused by printing, in mK."""
    low, high = characteristic.range_c
    temperature = np.linspace(low, high, _GRID)
    resistance = characteristic.resistance_ohm(temperature)
    printed = characteristic.equation.temperature_c(resistance, as_printed(characteristic))
    return float(1e3 * np.abs(printed - temperature).max())


def check_pairs(characteristic: Characteristic) -> tuple[CheckPair, CheckPair]:
    """Two pairs R → t90 by the printed coefficients, near one and three quarters of the range."""
    theta = as_printed(characteristic)
    low, high = characteristic.range_ohm
    rounding = 10.0 ** (math.floor(math.log10(high - low)) - 1)
    pairs = []
    for part in (0.25, 0.75):
        ohms = round((low + part * (high - low)) / rounding) * rounding
        ohms = min(max(float(f"{ohms:.6g}"), low), high)
        celsius = characteristic.equation.temperature_c(np.array([ohms]), theta)[0]
        pairs.append(CheckPair(ohms, round(float(celsius), 4)))
    return pairs[0], pairs[1]


def ratios_for_acceptance(characteristic: Characteristic) -> dict[str, float]:
    """W at gallium, mercury and silver as far as the range reaches, for `acceptance.judge_acceptance`."""
    if characteristic.equation.kind != "its90":
        return {}
    low, high = characteristic.range_c
    places = {"w_gallium": "Ga", "w_mercury": "Hg", "w_silver": "Ag"}
    return {
        key: float(characteristic.resistance_ohm(FIXED_POINTS[symbol].t90_c)) / characteristic.theta[0]
        for key, symbol in places.items()
        if low <= FIXED_POINTS[symbol].t90_c <= high
    }
