"""What is known before the night: a reference's characteristic by its certificate, the bench's own terms."""

from __future__ import annotations

import math

from daemon.fitting.certificate_entry import from_callendar_van_dusen_certificate, from_its90_certificate
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.errors import FittingError
from daemon.fitting.uncertainty import Component
from plans.bench import UncertaintyTerm
from plans.calibration import Calibration
from plans.probe import Thermometer

_DISTRIBUTIONS = {"u_shaped": "arcsine"}


def certified(calibration: Calibration | None) -> Characteristic:
    """The reference thermometer's characteristic from its certificate; raises FittingError."""
    if calibration is None:
        raise FittingError("the reference thermometer has no calibration in the register")
    range_c = (calibration.minimum_c, calibration.maximum_c)
    uncertainty = (calibration.expanded_uncertainty_mk, calibration.coverage_factor)
    note = f"certificate {calibration.certificate} of {calibration.date.isoformat()}"
    if calibration.equation == "its90" and calibration.r_tpw_ohm is not None:
        coefficients: dict[str, dict[str, float]] = {p.name: p.coefficients for p in calibration.subranges}
        return from_its90_certificate(calibration.r_tpw_ohm, coefficients, range_c, *uncertainty, note=note)
    cvd = calibration.callendar_van_dusen
    if cvd is None or calibration.r0_ohm is None:
        raise FittingError("the reference thermometer's calibration has no coefficients")
    named = {"R0": calibration.r0_ohm, "A": cvd.a, "B": cvd.b, "C": cvd.c}
    return from_callendar_van_dusen_certificate(named, range_c, *uncertainty, note=note)


def together_mk(*references: Thermometer) -> float:
    """The expanded uncertainties of several certificates in mK, root of the sum of squares."""
    return math.hypot(
        *(one.calibration.expanded_uncertainty_mk for one in references if one.calibration is not None)
    )


def component_of(term: UncertaintyTerm, ambient_c: float) -> Component:
    """A budget line of the bench file as a term of the fit."""
    return Component(
        term.name,
        term.size,
        term.unit,
        _DISTRIBUTIONS.get(term.distribution, term.distribution),  # type: ignore[arg-type]
        term.divisor,
        term.degrees_of_freedom or math.inf,
        term.correlation,
        term.shape,
        term.note,
        ambient_c,
    )
