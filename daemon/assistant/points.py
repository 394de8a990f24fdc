"""How many temperatures, and which: enough to test the fit, the middle reached from both sides."""

from __future__ import annotations

from dataclasses import dataclass

from daemon.assistant.answers import Fitted
from plans.calibration import SUBRANGES
from plans.probe import Thermometer

_SPARE = 2
"""Points beyond the number of coefficients, so that something tests the fit. Common practice, no source."""

_DOWN_TO_ARGON = "3.3.1.3"
_COLDEST_WHOLE_C = -1.0


@dataclass(frozen=True, slots=True)
class Chosen:
    """Temperatures in °C in the order of the run, the repeated middle last; the reason for their number."""

    temperatures_c: tuple[float, ...]
    middle_c: float
    reason: str


def coefficients(one: Thermometer, low_c: float, high_c: float) -> int:
    """How many numbers its characteristic has over this range, R0 included."""
    below = low_c < _COLDEST_WHOLE_C
    if one.kind == "iprt":
        return 3 + below  # R0, A, B, and C below 0 °C (IEC 60751)
    return 1 + _above_zero(high_c) + len(SUBRANGES[_DOWN_TO_ARGON][2]) * below


def _above_zero(high_c: float) -> int:
    """Coefficients of the shortest ITS-90 sub-range from 0 °C that reaches this temperature."""
    if high_c <= 0.0:
        return 0
    from_zero = [(end_c, len(names)) for start_c, end_c, names in SUBRANGES.values() if start_c == 0.0]
    widest_c, most = max(from_zero)
    return most if high_c > widest_c else min(count for end_c, count in from_zero if high_c <= end_c)


def choose_points(fitted: Fitted, placed: list[Thermometer], wanted: int) -> Chosen:
    """At least coefficients + 2 different temperatures, the zero or return point counted."""
    most = max(placed[1:], key=lambda one: coefficients(one, fitted.low_c, fitted.high_c))
    needed = coefficients(most, fitted.low_c, fitted.high_c) + _SPARE
    count = max(needed, wanted, 3) - 1
    step_k = (fitted.high_c - fitted.low_c) / count
    own = [fitted.low_c + step_k * number for number in range(count + 1)]
    rounded = dict.fromkeys(round(t_c) * 1.0 for t_c in own)
    rising = [t_c for t_c in rounded if abs(t_c - fitted.return_c) > 0.5]
    middle_c = rising[max(0, len(rising) // 2 - 1)] if len(rising) > 1 else rising[0]
    reason = (
        f"{most.serial} has {needed - _SPARE} coefficients over this range; {needed} temperatures leave "
        f"{_SPARE} degrees of freedom to test them"
    )
    return Chosen((*rising, middle_c), middle_c, reason)
