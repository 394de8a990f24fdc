"""Zero-power resistance from readings at two currents, with the noise it costs.

Source of the formula: self-heating is proportional to I²R, practice of the institutes' guides (from memory).
R(0) = R1 - (R2 - R1)·I1²/(I2² - I1²).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from daemon.fitting.errors import FittingError
from daemon.fitting.uncertainty import Component

# Closer currents multiply the noise by more than six.
_SMALLEST_POWER_RATIO = 1.2


@dataclass(frozen=True)
class ZeroPower:
    """R at no current, its standard uncertainty from noise, and the heating at the first current."""

    resistance_ohm: float
    standard_ohm: float
    heating_ohm: float


def zero_power(
    first: tuple[float, float], second: tuple[float, float], standard_ohm: tuple[float, float] = (0.0, 0.0)
) -> ZeroPower:
    """From (current in mA, resistance in ohm) twice and the readings' standard uncertainties, uncorrelated.

    Raises FittingError when the currents are too close to extrapolate from.
    """
    (i1, r1), (i2, r2) = first, second
    if not (i1 > 0 and i2 > 0 and max(i1, i2) ** 2 >= _SMALLEST_POWER_RATIO * min(i1, i2) ** 2):
        raise FittingError(
            f"currents of {i1} mA and {i2} mA are too close (or not above 0): use a ratio of about 1.4 or 2"
        )
    weight = i1**2 / (i2**2 - i1**2)
    noise = math.hypot((1 + weight) * standard_ohm[0], weight * standard_ohm[1])
    heating = (r2 - r1) * weight
    return ZeroPower(r1 - heating, noise, heating)


def uncorrected_component(heating_mk: float, share: float = 1.0) -> Component:
    """Budget term when the heating is not corrected: half-width `share` of it, rectangular."""
    return Component(
        "self-heating",
        heating_mk * share,
        "mK",
        "rectangular",
        note="not corrected; same current in use assumed",
    )
