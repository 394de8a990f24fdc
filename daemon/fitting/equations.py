"""The equations by name, for a span of points, and back from a file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from daemon.fitting import callendar_van_dusen as cvd
from daemon.fitting.equation import EDGE_K, Equation
from daemon.fitting.equation_callendar_van_dusen import CallendarVanDusen
from daemon.fitting.equation_its90 import its90_form, its90_form_for
from daemon.fitting.equation_polynomial import DeviationPolynomial
from daemon.fitting.errors import FittingError

NAMES = ("its90", "callendar_van_dusen", "polynomial")

# C needs points below 0 °C that tell it from B; with fewer it stays at the value of IEC 60751.
_FEWEST_COLD_POINTS = 2
_DEFAULT_ORDER = 2


def resolve(name: str, temperatures_c: Sequence[float]) -> Equation:
    """The form of the named equation that suits points at these temperatures."""
    lowest, highest = min(temperatures_c), max(temperatures_c)
    if name == "its90":
        return its90_form_for(lowest, highest)
    if name == "callendar_van_dusen":
        return callendar_van_dusen_for(temperatures_c)
    if name == "polynomial":
        return DeviationPolynomial(_DEFAULT_ORDER)
    raise FittingError(f"no equation {name!r}; known: {', '.join(NAMES)}")


def callendar_van_dusen_for(temperatures_c: Sequence[float]) -> CallendarVanDusen:
    """C is sought when two points or more lie below 0 °C, else kept at the IEC 60751 value."""
    lowest, highest = min(temperatures_c), max(temperatures_c)
    if not (lowest >= cvd.LOWEST_C and highest <= cvd.HIGHEST_C):
        raise FittingError(
            f"the Callendar-Van Dusen equation holds from {cvd.LOWEST_C:.0f} °C to {cvd.HIGHEST_C:.0f} °C; "
            f"the points reach from {lowest:.3f} °C to {highest:.3f} °C"
        )
    cold = sum(t < -EDGE_K for t in temperatures_c)
    return CallendarVanDusen(None if cold >= _FEWEST_COLD_POINTS else cvd.IEC_C)


def from_dict(data: Mapping[str, Any]) -> Equation:
    """The equation described by `Equation.to_dict`; raises FittingError for an unknown kind."""
    kind = data.get("kind")
    if kind == "its90":
        return its90_form(data["low"], data["high"], data["w_aluminium"])
    if kind == "callendar_van_dusen":
        fixed_c = data["fixed_c"]
        return CallendarVanDusen(None if fixed_c is None else float(fixed_c))
    if kind == "polynomial":
        return DeviationPolynomial(data["order"], data["r0_nominal_ohm"])
    raise FittingError(f"no equation {kind!r}; known: {', '.join(NAMES)}")
