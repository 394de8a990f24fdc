"""Which equation a thermometer's own points ask for, with the reason that goes into the report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from daemon.fitting.acceptance import NOT_ITS90
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.choice import choose_equation, misfit_component
from daemon.fitting.errors import FittingError
from daemon.fitting.fit import fit_characteristic
from daemon.fitting.points import PointResult
from daemon.fitting.uncertainty import Component

_KINDS: dict[str, Literal["SPRT", "semi-standard PRT", "IPRT"]] = {
    "sprt": "SPRT",
    "semi_standard": "semi-standard PRT",
    "iprt": "IPRT",
}
_FORMS = {
    "callendar_van_dusen": "Callendar-Van Dusen",
    "its90": "ITS-90 form",
    "polynomial": "polynomial on IEC 60751",
}
_ENOUGH_FREEDOM = 3
_CLEARLY_BETTER = 4.0
"""Chi-squared by which another form must win over the usual one. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Making:
    """What decides the form: `kind` is "sprt", "semi_standard" or "iprt"; film bends its own way."""

    kind: str
    film: bool = False


def fit_best(
    making: Making,
    points: Sequence[PointResult],
    components: Sequence[Component],
    between: Sequence[Component],
    wanted_mk: float,
) -> Characteristic:
    """Fit by the equation that suits; raises FittingError when none can be fitted.

    A standard or semi-standard thermometer follows the ITS-90 by its making. An industrial one may
    follow any form: with freedom enough its own residuals decide, else the advice for its kind.
    """
    used_c = [point.temperature_c for point in points if point.excluded_because is None]
    if not used_c:
        raise FittingError("no point with equilibrium is left to fit")
    if making.kind == "iprt":
        fits = _every_form(points, components, between)
        tested = [fit for fit in fits.values() if fit.degrees_of_freedom >= _ENOUGH_FREEDOM]
        if tested:
            return _best(fits, between, used_c)
    return _advised(making, points, components, between, wanted_mk, used_c)


def _every_form(
    points: Sequence[PointResult], components: Sequence[Component], between: Sequence[Component]
) -> dict[str, Characteristic]:
    fits = {}
    for name in _FORMS:
        try:
            fits[name] = fit_characteristic(points, name, components, between_points=between)
        except FittingError:
            continue
    return fits


def _best(
    fits: dict[str, Characteristic],
    between: Sequence[Component],
    used_c: Sequence[float],
) -> Characteristic:
    usual = next(iter(fits))
    name = min(fits, key=lambda one: fits[one].chi_squared - (_CLEARLY_BETTER if one == usual else 0.0))
    best = fits[name]
    figures = ", ".join(f"{_FORMS[one]} {fit.chi_squared:.1f}" for one, fit in fits.items())
    reason = (
        f"its own residuals ask for it: chi-squared ({best.degrees_of_freedom} degrees of freedom) {figures}"
    )
    cautions = (*best.cautions, *((NOT_ITS90,) if name == "its90" else ()))
    bounds = best.fit.findings.chi_squared_bounds if best.fit else None
    if bounds is not None and best.chi_squared > bounds[1]:
        # No form follows this thermometer: what the best one leaves is carried at every temperature.
        between = (*between, misfit_component(min(used_c), max(used_c)))
    return replace(best, reason=reason, cautions=cautions, added=tuple(between))


def _advised(
    making: Making,
    points: Sequence[PointResult],
    components: Sequence[Component],
    between: Sequence[Component],
    wanted_mk: float,
    used_c: Sequence[float],
) -> Characteristic:
    construction: Literal["wire", "film"] = "film" if making.film else "wire"
    range_c = (min(used_c), max(used_c))
    choice = choose_equation(_KINDS[making.kind], range_c, wanted_mk, construction)
    if choice.equation == "callendar_van_dusen":
        between = (*between, misfit_component(*range_c))
    fitted = fit_characteristic(
        points, choice.equation, components, between_points=between, reason=choice.reason
    )
    return replace(fitted, cautions=(*fitted.cautions, *choice.cautions))
