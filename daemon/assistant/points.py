"""How many temperatures, and which: enough to test the fit, the middle reached from both sides."""

from __future__ import annotations

from dataclasses import dataclass

from daemon.assistant.answers import Fitted
from plans.probe import Thermometer

_SPARE = 2
"""Points beyond the number of coefficients, so that something tests the fit. Common practice, no source."""

# ITS-90 text, Table 5: upper ends of the ranges from 0 °C and the coefficients of their deviation functions.
_ABOVE_ZERO = ((156.5985, 1), (419.527, 2), (660.323, 3), (961.78, 4))
_BELOW_ZERO = 2  # ITS-90 down to argon: a and b
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
    above = next((count for end_c, count in _ABOVE_ZERO if high_c <= end_c), 4) if high_c > 0.0 else 0
    return 1 + above + _BELOW_ZERO * below


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
