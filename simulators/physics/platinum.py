"""R(t) of a simulated thermometer at zero current: the truth that a calibration is to find."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

from simulators.physics.its90 import Deviation, ratio


class Characteristic(Protocol):
    """Any R(t)."""

    def resistance_ohm(self, t_c: float) -> float:
        """Resistance in Ω at t90 in °C, no current, no leakage."""


@dataclass(frozen=True, slots=True)
class Its90:
    """R = R(TPW) · W with deviation functions below and above 0 °C."""

    r_tpw_ohm: float
    below: Deviation
    above: Deviation
    high_from_c: float = 0.0

    def resistance_ohm(self, t_c: float) -> float:
        """Resistance in Ω at t90 in °C; between -259 °C and 962 °C."""
        return self.r_tpw_ohm * ratio(t_c, self.below, self.above, self.high_from_c)


@dataclass(frozen=True, slots=True)
class CallendarVanDusen:
    """R = R0 (1 + A t + B t² [+ C (t - 100) t³ below 0 °C]); form and defaults of IEC 60751:2008."""

    r0_ohm: float = 100.0
    a: float = 3.9083e-3
    b: float = -5.775e-7
    c: float = -4.183e-12

    def resistance_ohm(self, t_c: float) -> float:
        """Resistance in Ω at t90 in °C."""
        above = 1.0 + t_c * (self.a + t_c * self.b)
        if t_c >= 0.0:
            return self.r0_ohm * above
        return self.r0_ohm * (above + self.c * (t_c - 100.0) * t_c**3)


@dataclass(frozen=True, slots=True)
class Shifted:
    """A characteristic moved in temperature: what an erroneous certificate describes.

    The thermometer shows at t what `certified` has at t + constant + slope · t (kelvin, kelvin per kelvin).
    """

    certified: Characteristic
    constant_k: float
    slope: float

    def resistance_ohm(self, t_c: float) -> float:
        """Resistance in Ω at t90 in °C."""
        return self.certified.resistance_ohm(t_c + self.constant_k + self.slope * t_c)


@dataclass(frozen=True, slots=True)
class Bridged:
    """A thermometer of which a share of the wire is shorted by itself."""

    whole: Characteristic
    share: float

    def resistance_ohm(self, t_c: float) -> float:
        """Resistance in Ω at t90 in °C."""
        return self.whole.resistance_ohm(t_c) * (1.0 - self.share)


@dataclass(frozen=True, slots=True)
class Insulation:
    """Leakage between the leads: resistance at 22 °C and the kelvins over which it falls e-fold.

    Default: common practice, no source; it lowers a 100 Ω thermometer by 0.05 mK at 200 °C, 0.9 mK at 420 °C.
    """

    at_22_c_mohm: float = 10_000.0
    fold_k: float = 100.0

    def beside(self, ohm: float, t_c: float) -> float:
        """The resistance in Ω measured with the leak in parallel."""
        leak_ohm = self.at_22_c_mohm * 1e6 * math.exp((22.0 - t_c) / self.fold_k)
        return ohm / (1.0 + ohm / leak_ohm)
