"""The defining fixed points a platinum thermometer meets, and what depth and pressure do to them.

Source: The International Temperature Scale of 1990, Metrologia 27 (1990) 3-10, Tables 1 and 2 (gold and
copper are listed for their pressure and depth effects only; no platinum sub-range reaches them).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from daemon.fitting.errors import OutsideRange
from daemon.fitting.uncertainty import Component

STANDARD_PRESSURE_PA = 101325.0


@dataclass(frozen=True)
class FixedPoint:
    """One fixed point.

    `state` is T (triple), M (melting) or F (freezing point); `pressure_effect_k_per_pa` is dT/dp;
    `depth_effect_k_per_m` is dT/dl, kelvins per metre of liquid above the sensing element.
    """

    symbol: str
    state: str
    t90_k: float
    t90_c: float
    pressure_effect_k_per_pa: float
    depth_effect_k_per_m: float

    def correction_k(self, depth_m: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> float:
        """What is added to t90 for the middle of the sensing element `depth_m` below the liquid's surface.

        dT/dl·h, and for melting and freezing points dT/dp·(p - 101325 Pa) with the gas pressure at the
        surface; a triple point makes its own pressure. Raises OutsideRange for a depth beyond 0 to 2 m or
        a pressure beyond 50 to 200 kPa.
        """
        if not (0 <= depth_m <= 2):
            raise OutsideRange(f"{self.symbol}: depth {depth_m} m is not between 0 and 2 m")
        if not (50e3 <= pressure_pa <= 200e3):
            raise OutsideRange(f"{self.symbol}: pressure {pressure_pa} Pa is not between 50 and 200 kPa")
        excess_pa = 0.0 if self.state == "T" else pressure_pa - STANDARD_PRESSURE_PA
        return self.depth_effect_k_per_m * depth_m + self.pressure_effect_k_per_pa * excess_pa

    def at_sensor_c(self, depth_m: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> float:
        """t90 in °C at the middle of the sensing element; raises as `correction_k`."""
        return self.t90_c + self.correction_k(depth_m, pressure_pa)

    def depth_component(self, half_width_m: float) -> Component:
        """Budget term for a depth known to ± `half_width_m` (rectangular), at this point only."""
        size_mk = math.fabs(self.depth_effect_k_per_m) * half_width_m * 1e3
        note = f"{self.symbol}: dT/dl {self.depth_effect_k_per_m * 1e3:g} mK/m, ITS-90 Table 2"
        return Component("hydrostatic head", size_mk, "mK", "rectangular", note=note)


_ROWS = (
    ("e-H2", "T", 13.8033, -259.3467, 34e-8, 0.25e-3),
    ("Ne", "T", 24.5561, -248.5939, 16e-8, 1.9e-3),
    ("O2", "T", 54.3584, -218.7916, 12e-8, 1.5e-3),
    ("Ar", "T", 83.8058, -189.3442, 25e-8, 3.3e-3),
    ("Hg", "T", 234.3156, -38.8344, 5.4e-8, 7.1e-3),
    ("H2O", "T", 273.16, 0.01, -7.5e-8, -0.73e-3),
    ("Ga", "M", 302.9146, 29.7646, -2.0e-8, -1.2e-3),
    ("In", "F", 429.7485, 156.5985, 4.9e-8, 3.3e-3),
    ("Sn", "F", 505.078, 231.928, 3.3e-8, 2.2e-3),
    ("Zn", "F", 692.677, 419.527, 4.3e-8, 2.7e-3),
    ("Al", "F", 933.473, 660.323, 7.0e-8, 1.6e-3),
    ("Ag", "F", 1234.93, 961.78, 6.0e-8, 5.4e-3),
    ("Au", "F", 1337.33, 1064.18, 6.1e-8, 10e-3),
    ("Cu", "F", 1357.77, 1084.62, 3.3e-8, 2.6e-3),
)
FIXED_POINTS = {row[0]: FixedPoint(*row) for row in _ROWS}
