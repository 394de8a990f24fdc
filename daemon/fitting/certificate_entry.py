"""A reference thermometer's certificate as a characteristic, checked against its own table on entry."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from daemon.fitting import callendar_van_dusen as cvd
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.equation import EDGE_K, Equation
from daemon.fitting.equation_callendar_van_dusen import CallendarVanDusen
from daemon.fitting.equation_its90 import Its90Form, its90_form
from daemon.fitting.errors import FittingError
from daemon.fitting.its90_subranges import BY_SECTION
from daemon.fitting.uncertainty import Component
from drivers.quantities import TRIPLE_POINT_OF_WATER_C

CertifiedUncertainty = float | Sequence[tuple[float, float]]


def from_its90_certificate(
    r_tpw_ohm: float,
    coefficients: Mapping[str, Mapping[str, float]],
    range_c: tuple[float, float],
    expanded_mk: CertifiedUncertainty,
    coverage_factor: float,
    *,
    w_aluminium: float | None = None,
    note: str = "",
) -> Characteristic:
    """From R(TPW) in ohm and the coefficients of one or two sub-ranges, {"3.3.1.3": {"a": ..., "b": ...}}.

    `expanded_mk` is U in mK, one number or (t90 in °C, U) pairs interpolated between; k its factor.
    Raises FittingError when sub-range, coefficients and range do not belong together.
    """
    form = _its90_form(coefficients, w_aluminium)
    theta = [_sane_resistance("R(TPW)", r_tpw_ohm)]
    for section in dict.fromkeys(part.subrange.section for part in form.parts):
        theta += _named(f"sub-range {section}", BY_SECTION[section].coefficients, coefficients[section])
    _covered(form, range_c)
    return _certified(form, theta, range_c, expanded_mk, coverage_factor, note)


def from_callendar_van_dusen_certificate(
    coefficients: Mapping[str, float],
    range_c: tuple[float, float],
    expanded_mk: CertifiedUncertainty,
    coverage_factor: float,
    *,
    note: str = "",
) -> Characteristic:
    """From R0 in ohm, A, B and C (t90 in °C; C of either sign); other arguments as for ITS-90."""
    theta = _named("Callendar-Van Dusen", ("R0", "A", "B", "C"), coefficients)
    _sane_resistance("R0", theta[0])
    if not (cvd.LOWEST_C <= range_c[0] < range_c[1] <= cvd.HIGHEST_C):
        raise FittingError(f"range {range_c[0]} °C to {range_c[1]} °C is not inside -200 °C to 850 °C")
    return _certified(CallendarVanDusen(None), theta, range_c, expanded_mk, coverage_factor, note)


def _its90_form(coefficients: Mapping[str, Mapping[str, float]], w_aluminium: float | None) -> Its90Form:
    unknown = [section for section in coefficients if section not in BY_SECTION]
    if unknown or not coefficients:
        raise FittingError(f"no ITS-90 sub-range {unknown or 'given'}; known: {', '.join(BY_SECTION)}")
    if tuple(coefficients) == ("3.3.3",):
        return its90_form("3.3.3", "3.3.3")
    low = [section for section in coefficients if BY_SECTION[section].below_zero]
    high = [section for section in coefficients if not BY_SECTION[section].below_zero]
    if len(low) > 1 or len(high) > 1 or "3.3.3" in coefficients:
        raise FittingError("give 3.3.3 alone, or at most one sub-range below and one above 0 °C")
    return its90_form(low[0] if low else None, high[0] if high else None, w_aluminium)


def _named(where: str, names: Sequence[str], given: Mapping[str, float]) -> list[float]:
    if sorted(names) != sorted(given):
        raise FittingError(
            f"{where}: coefficients {', '.join(names)} wanted, {', '.join(given) or 'none'} given"
        )
    for name in names:
        if not math.isfinite(given[name]):
            raise FittingError(f"{where}: coefficient {name} is not a finite number")
    return [float(given[name]) for name in names]


def _sane_resistance(name: str, ohms: float) -> float:
    if not (0.01 <= ohms <= 1e5):
        raise FittingError(f"{name} = {ohms} Ω is not between 0.01 Ω and 100 kΩ")
    return float(ohms)


def _covered(form: Its90Form, range_c: tuple[float, float]) -> None:
    low, high = form.parts[0].subrange.lower_c, form.parts[-1].subrange.upper_c
    below = EDGE_K if low == 0 else 0.0
    above = EDGE_K if high == TRIPLE_POINT_OF_WATER_C else 0.0
    if not (low - below <= range_c[0] < range_c[1] <= high + above):
        raise FittingError(
            f"range {range_c[0]} °C to {range_c[1]} °C is not covered by the sub-ranges given, "
            f"which reach from {low} °C to {high} °C"
        )


def _certified(
    equation: Equation,
    theta: Sequence[float],
    range_c: tuple[float, float],
    expanded_mk: CertifiedUncertainty,
    coverage_factor: float,
    note: str,
) -> Characteristic:
    if not (1 <= coverage_factor <= 10):
        raise FittingError(f"coverage factor k = {coverage_factor} is not between 1 and 10")
    name = "calibration of the reference thermometer"
    if isinstance(expanded_mk, (int, float)):
        term = Component(name, float(expanded_mk), divisor=coverage_factor, note=note)
    else:
        pairs = tuple((float(t), float(u)) for t, u in expanded_mk)
        term = Component(name, 1.0, divisor=coverage_factor, shape="table", table=pairs, note=note)
    result = Characteristic(
        equation,
        tuple(theta),
        (float(range_c[0]), float(range_c[1])),
        added=(term,),
        reason="from its certificate",
    )
    if not _rising(result):
        raise FittingError(
            "with these coefficients the resistance does not rise through the range: a typing error?"
        )
    return result


def _rising(characteristic: Characteristic) -> bool:
    resistance = characteristic.resistance_ohm(np.linspace(*characteristic.range_c, 101))
    return bool((np.diff(resistance) > 0).all())


def check_against_table(
    characteristic: Characteristic, rows: Sequence[tuple[float, float]], within_mk: float
) -> tuple[str, ...]:
    """Compare with the certificate's own (t90 in °C, R in ohm) rows; a sentence for each row off."""
    temperature, resistance = (np.array(column) for column in zip(*rows, strict=True))
    off_mk = 1e3 * (characteristic.resistance_ohm(temperature) - resistance)
    off_mk /= characteristic.sensitivity_ohm_per_k(temperature)
    return tuple(
        f"at {t:.4f} °C the certificate's table says {r} Ω, its coefficients are {off:+.2f} mK away"
        for t, r, off in zip(temperature, resistance, off_mk, strict=True)
        if not (abs(off) <= within_mk)
    )
