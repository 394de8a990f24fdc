"""Value types shared by every floor: a reading says what, when and how far it can be trusted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

ABSOLUTE_ZERO_C = -273.15
ICE_POINT_K = 273.15
TRIPLE_POINT_OF_WATER_K = 273.16
TRIPLE_POINT_OF_WATER_C = 0.01

UNITS = {
    "": "", "degC": "°C", "ohm": "Ω", "mA": "mA", "percent": "%", "K/min": "K/min", "s": "s",
    "hPa": "hPa", "mm": "mm", "1/min": "1/min",
}  # fmt: skip
"""As profiles and readings write them, and as people are shown them."""


class Quality(StrEnum):
    """How far a reading can be trusted; there is no number that stands for absence."""

    FRESH = "fresh"
    STALE = "stale"
    ABSENT = "absent"


@dataclass(frozen=True, slots=True)
class Reading:
    """One value from an instrument.

    `value` is None exactly when `quality` is ABSENT; `when_s` is monotonic time in seconds at the
    end of the conversion; `raw` is the instrument's own text; `reason` says why a reading is absent.
    """

    value: float | None
    unit: str
    when_s: float
    quality: Quality = Quality.FRESH
    raw: str = ""
    reason: str = ""

    def __post_init__(self) -> None:
        if (self.value is None) != (self.quality is Quality.ABSENT):
            raise ValueError("a reading has a value exactly when it is not absent")
        if self.value is not None and not math.isfinite(self.value):
            raise ValueError("a reading is a finite number or absent")

    @property
    def fresh(self) -> bool:
        """True when the value may be used for a decision."""
        return self.quality is Quality.FRESH


def absent(unit: str, when_s: float, reason: str, raw: str = "") -> Reading:
    """A reading that did not come: the reason in words, never a number."""
    return Reading(None, unit, when_s, Quality.ABSENT, raw, reason)
