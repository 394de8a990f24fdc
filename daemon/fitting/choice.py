"""Which equation suits this thermometer and this range, and why.

Sources: ITS-90, Metrologia 27 (1990) 3-10, for the interpolating thermometer; IEC 60751:2008 for the
Callendar-Van Dusen form and its remark that below 0.1 °C another equation may be needed. The limits at which
the advice changes are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from daemon.fitting import its90
from daemon.fitting.acceptance import NOT_ITS90
from daemon.fitting.equation import EDGE_K
from daemon.fitting.equation_callendar_van_dusen import CallendarVanDusen
from daemon.fitting.errors import FittingError
from daemon.fitting.least_squares import solve
from daemon.fitting.uncertainty import Component

Kind = Literal["SPRT", "semi-standard PRT", "IPRT"]
_KINDS = ("SPRT", "semi-standard PRT", "IPRT")

# Misfit of the equation that may stand beside the uncertainty wanted: a third adds 5 % to it.
_MISFIT_SHARE = 1 / 3


@dataclass(frozen=True)
class Choice:
    """The equation advised, the reason in one sentence, and what to know when using it."""

    equation: str
    reason: str
    cautions: tuple[str, ...] = ()


def misfit_mk(lowest_c: float, highest_c: float) -> float:
    """Largest residual, in mK, of Callendar-Van Dusen fitted to the ITS-90 reference function over a span.

    The equation's own misfit to a thermometer that follows the scale; no measurement noise in it.
    """
    temperature = np.linspace(lowest_c, highest_c, 201)
    resistance = its90.reference_ratio(temperature)
    form = CallendarVanDusen(None if lowest_c < -EDGE_K else 0.0)
    grid = form.at(temperature)
    theta = grid.start(resistance)
    for _ in range(3):
        now = grid.linearise(resistance, theta)
        theta = theta + solve(now.gradient_k, now.residual_k, np.eye(len(temperature))).estimate
    return float(1e3 * np.abs(grid.linearise(resistance, theta).residual_k).max())


def misfit_component(lowest_c: float, highest_c: float) -> Component:
    """The budget line for using Callendar-Van Dusen over this span: half-width the misfit.

    It belongs both to the points of the fit and between them.
    """
    size = misfit_mk(lowest_c, highest_c)
    note = "largest residual of the equation fitted to the ITS-90 reference function over the range"
    return Component("misfit of the equation", size, "mK", "rectangular", correlation="random", note=note)


def choose_equation(
    kind: Kind,
    range_c: tuple[float, float],
    wanted_expanded_mk: float,
    construction: Literal["wire", "film"] = "wire",
) -> Choice:
    """Advise on the equation for a kind of thermometer, a range in °C and the U wanted in mK."""
    if kind not in _KINDS:
        raise FittingError(f"kind {kind!r} is not one of {', '.join(_KINDS)}")
    lowest, highest = range_c
    if lowest == highest:
        raise FittingError(f"one temperature ({lowest:.2f} °C) is not enough to choose an equation")
    if not (its90.LOWEST_C <= lowest < highest <= its90.HIGHEST_C):
        raise FittingError(f"range {lowest} °C to {highest} °C is not inside -259.3467 °C to 961.78 °C")
    span = f"{lowest:.1f} °C to {highest:.1f} °C"
    if kind == "SPRT":
        return Choice(
            "its90", f"a standard thermometer realises the ITS-90 by its deviation functions over {span}"
        )
    if lowest < -200 or highest > 850:
        return Choice("its90", f"{span} passes the range of the Callendar-Van Dusen equation", (NOT_ITS90,))
    misfit = misfit_mk(lowest, highest)
    figures = (
        f"over {span} Callendar-Van Dusen misfits a thermometer that follows the ITS-90 by {misfit:.1f} mK"
    )
    if misfit <= _MISFIT_SHARE * wanted_expanded_mk:
        return Choice(
            "callendar_van_dusen",
            f"{figures}, small beside the U of {wanted_expanded_mk:g} mK wanted",
            _film(construction),
        )
    if construction == "film":
        return Choice(
            "polynomial",
            f"{figures}, too much beside {wanted_expanded_mk:g} mK, and a film element distorts both forms",
        )
    return Choice(
        "its90", f"{figures}, too much beside the U of {wanted_expanded_mk:g} mK wanted", (NOT_ITS90,)
    )


def _film(construction: str) -> tuple[str, ...]:
    if construction != "film":
        return ()
    return (
        "Film elements can bend the Callendar-Van Dusen curve: look at the residuals before trusting it.",
    )
