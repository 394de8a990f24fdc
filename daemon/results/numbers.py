"""Numbers as people read them: a true minus sign, sensible digits, a dash where nothing is known."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime

from daemon.fitting.table import two_digits

MINUS = "−"
UNKNOWN = "–"
_GIVEN_BY_NOBODY = re.compile(r"point \d+")


def fixed(value: float | None, decimals: int, unit: str = "") -> str:
    """A number with this many decimals; a dash for None, NaN and infinity."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    return _with_unit(true_minus(f"{_no_negative_zero(round(value, decimals)):.{decimals}f}"), unit)


def signed(value: float | None, decimals: int, unit: str = "") -> str:
    """The same with its sign always shown; what rounds to zero has none."""
    if value is None or not math.isfinite(value) or round(value, decimals) == 0.0:
        return fixed(value, decimals, unit)
    return _with_unit(true_minus(f"{round(value, decimals):+.{decimals}f}"), unit)


def uncertainty(value_mk: float | None, unit: str = "mK") -> str:
    """Two significant digits, as uncertainties are stated."""
    if value_mk is None or not math.isfinite(value_mk):
        return UNKNOWN
    return _with_unit(two_digits(value_mk), unit)


def decimals_of(expanded: float) -> int:
    """Decimals of an uncertainty that is stated with two significant digits, and of a value beside it."""
    return len(two_digits(expanded).partition(".")[2])


def contribution(standard_mk: float, combined_mk: float, unit: str = "") -> str:
    """A term of a budget with one digit more than the combined uncertainty is stated with."""
    decimals = decimals_of(combined_mk) + 1
    least = 10.0**-decimals
    if 0.0 < standard_mk < least / 2.0:
        return f"< {fixed(least, decimals, unit)}"
    return fixed(standard_mk, decimals, unit)


def true_minus(text: str) -> str:
    """The text of a number with minus signs instead of hyphens."""
    return text.replace("-", MINUS)


def significant(value: float, digits: int = 3) -> str:
    """A plain number with this many significant digits, no exponent for everyday sizes."""
    if not math.isfinite(value):
        return "∞"
    return true_minus(f"{value:.{digits}g}")


def powers(text: str) -> str:
    """A printed number with its exponent as people write it: 3.9083e-03 becomes 3.9083·10⁻³."""
    mantissa, mark, exponent = text.partition("e")
    if not mark:
        return true_minus(text)
    raised = str(int(exponent)).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
    return f"{true_minus(mantissa)}·10{raised}"


def duration(seconds: float) -> str:
    """A duration as people say it: 45 s, 12 min, 13 h 52 min."""
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60.0)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"


def clock(utc_s: float) -> str:
    """Time of day, UTC."""
    return datetime.fromtimestamp(utc_s, UTC).strftime("%H:%M")


def day_and_clock(utc_s: float) -> str:
    """Date and time of day, UTC."""
    return datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%d %H:%M UTC")


def iso(utc_s: float) -> str:
    """UTC as programs read it, to the second."""
    return datetime.fromtimestamp(utc_s, UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def point_name(index: int, temperature_c: float, label: str) -> str:
    """A point as people call it: its number from 1, its temperature, and the label somebody gave it."""
    own = "" if _GIVEN_BY_NOBODY.fullmatch(label) else f", {label}"
    return f"{index + 1}: {true_minus(f'{temperature_c:g}')} °C{own}"


def counted(number: int, noun: str, plural: str = "") -> str:
    """1 point, 2 points."""
    return f"{number} {noun if number == 1 else plural or noun + 's'}"


def _no_negative_zero(value: float) -> float:
    return value + 0.0


def _with_unit(number: str, unit: str) -> str:
    return f"{number} {unit}" if unit else number
