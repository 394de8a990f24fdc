"""Draw simulated thermometers: plausible coefficients, certificate errors and places, all from a seed.

Spreads are common practice, no source, unless said.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from random import Random

from simulators.physics.its90 import (
    MIDDLE_SUBRANGE_HIGH_FROM_C,
    Deviation,
    deviation,
    reference_above,
    reference_below,
)
from simulators.physics.noise import generator, rectangular
from simulators.physics.platinum import CallendarVanDusen, Characteristic, Its90, Shifted
from simulators.physics.probe import ProbeTruth

TPW_OVER_ICE = 1.00003989693
IEC_ABOVE_C = (29.7646, 231.928, 419.527)  # gallium, tin, zinc
IEC_BELOW_C = (-38.8344, -189.3442)  # mercury, argon
KINDS = ("sprt", "semi_standard", "iprt")
LAGS_S = {"sprt": (6.0, 4.0), "semi_standard": (5.0, 2.0), "iprt": (4.0, 1.5)}
SELF_HEATING_MW_PER_K = {"sprt": 50.0, "semi_standard": 40.0, "iprt": 30.0}
BORE_LAG_FACTOR, BORE_SELF_HEATING_FACTOR = 5.0, 0.4


class DrawError(ValueError):
    """What was asked for cannot be drawn; the message says why."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a thermometer sits: immersion, and the half-widths from which its offset is drawn.

    `half_width_k` in K, `slope_half_width` in K per kelvin above the room; `in_bore` slows the
    thermometer and warms it as the air gap of a bore does.
    """

    immersion_mm: float = 300.0
    half_width_k: float = 0.0
    slope_half_width: float = 0.0
    in_bore: bool = False


IN_STIRRED_LIQUID = Place()


def draw_probe(
    serial: str,
    channel: int,
    kind: str,
    nominal_r0_ohm: float,
    seed: int,
    *,
    form: str = "its90",
    place: Place = IN_STIRRED_LIQUID,
) -> ProbeTruth:
    """A thermometer of `kind` (sprt, semi_standard, iprt); an iprt's `form` is its90 or callendar_van_dusen.

    An iprt lies within class A of IEC 60751 from -100 °C to 450 °C. Raises DrawError.
    """
    if kind not in KINDS or not (1.0 <= nominal_r0_ohm <= 2000.0):
        raise DrawError(f"cannot draw a {kind!r} of {nominal_r0_ohm!r} Ω: {', '.join(KINDS)} of 1 to 2000 Ω")
    chance = generator(seed, f"probe/{serial}")
    return _placed(serial, channel, kind, _characteristic(kind, form, nominal_r0_ohm, chance), place, chance)


def draw_reference(
    serial: str,
    channel: int,
    kind: str,
    certified: Characteristic,
    seed: int,
    *,
    u_common_mk: float,
    u_slope_mk_per_100_k: float = 0.0,
    place: Place = IN_STIRRED_LIQUID,
) -> ProbeTruth:
    """A reference thermometer: its certificate plus an error drawn from the stated standard uncertainties."""
    chance = generator(seed, f"reference/{serial}")
    constant_k = chance.gauss(0.0, u_common_mk * 1e-3)
    slope = chance.gauss(0.0, u_slope_mk_per_100_k * 1e-5)
    return _placed(serial, channel, kind, Shifted(certified, constant_k, slope), place, chance)


def certified_its90(r_tpw_ohm: float, subranges: Mapping[str, Mapping[str, float]]) -> Its90:
    """The characteristic a certificate states: sub-range name → coefficients, R(TPW) in Ω.

    With one side only, the other follows with the same a alone. Raises DrawError.
    """
    if "3.3.3" in subranges:
        both = deviation("3.3.3", subranges["3.3.3"])
        return Its90(r_tpw_ohm, both, both, MIDDLE_SUBRANGE_HIGH_FROM_C)
    if not subranges:
        raise DrawError("a certificate on the ITS-90 needs at least one sub-range with its coefficients")
    return Its90(r_tpw_ohm, _side("3.3.1", subranges), _side("3.3.2", subranges))


def draw_head(serial: str, channel: int, seed: int, coupling: float = 0.1) -> ProbeTruth:
    """A small 100 Ω sensor in a probe's head, warmed by `coupling` of the source's excess."""
    characteristic = _characteristic("iprt", "callendar_van_dusen", 100.0, generator(seed, f"head/{serial}"))
    return ProbeTruth(serial, channel, characteristic, lags_s=(120.0, 20.0), coupling=coupling)


def _side(section: str, subranges: Mapping[str, Mapping[str, float]]) -> Deviation:
    for name, coefficients in subranges.items():
        if name.startswith(section):
            return deviation(name, coefficients)
    other = next(iter(subranges.values()))
    return deviation("3.3.2.4", {"a": other["a"]})


def _placed(
    serial: str, channel: int, kind: str, characteristic: Characteristic, place: Place, chance: Random
) -> ProbeTruth:
    slower, warmer = (BORE_LAG_FACTOR, BORE_SELF_HEATING_FACTOR) if place.in_bore else (1.0, 1.0)
    first, second = LAGS_S[kind]
    return ProbeTruth(
        serial,
        channel,
        characteristic,
        lags_s=(first * slower, second * slower),
        self_heating_mw_per_k=SELF_HEATING_MW_PER_K[kind] * warmer,
        immersion_mm=place.immersion_mm,
        position_k=rectangular(chance, place.half_width_k),
        position_slope=rectangular(chance, place.slope_half_width),
    )


def _characteristic(kind: str, form: str, nominal_r0_ohm: float, chance: Random) -> Characteristic:
    if kind == "iprt":
        if form == "callendar_van_dusen":
            return _iprt_callendar(nominal_r0_ohm, chance)
        return _iprt_its90(nominal_r0_ohm, chance)
    r_tpw_ohm = nominal_r0_ohm * TPW_OVER_ICE * (1.0 + rectangular(chance, 3e-4))
    a = -chance.uniform(0.5e-4, 3e-4) if kind == "sprt" else -chance.uniform(3e-4, 1.5e-3)
    above = {"a": a, "b": rectangular(chance, 2e-5), "c": rectangular(chance, 3e-6)}
    below = {"a": a + rectangular(chance, 1e-5), "b": rectangular(chance, 1e-5)}
    return Its90(r_tpw_ohm, deviation("3.3.1.3", below), deviation("3.3.2.1", above))


def _iprt_callendar(nominal_r0_ohm: float, chance: Random) -> CallendarVanDusen:
    nominal = CallendarVanDusen()
    return CallendarVanDusen(
        r0_ohm=nominal_r0_ohm * (1.0 + rectangular(chance, 4e-4)),
        a=nominal.a * (1.0 + rectangular(chance, 2e-4)),
        b=nominal.b * (1.0 + rectangular(chance, 2e-3)),
        c=nominal.c * (1.0 + rectangular(chance, 1e-2)),
    )


def _iprt_its90(nominal_r0_ohm: float, chance: Random) -> Its90:
    """The IEC 60751 characteristic in ITS-90 form (equal to it at five fixed points), then scattered."""
    purity = rectangular(chance, 2e-4)
    a, b, c = _iec_above()
    below_a, below_b = _iec_below()
    above = {
        "a": a + purity,
        "b": b + rectangular(chance, 2e-5),
        "c": c + rectangular(chance, 3e-6),
    }
    below = {"a": below_a + purity, "b": below_b + rectangular(chance, 2e-5)}
    r_tpw_ohm = nominal_r0_ohm * TPW_OVER_ICE * (1.0 + rectangular(chance, 4e-4))
    return Its90(r_tpw_ohm, deviation("3.3.1.3", below), deviation("3.3.2.1", above))


def _iec_share(t_c: float) -> tuple[float, float]:
    """W - 1 of the IEC 60751 characteristic and (W - Wr)/(W - 1) there."""
    iec = CallendarVanDusen()
    w = iec.resistance_ohm(t_c) / iec.resistance_ohm(0.01)
    reference = reference_above(t_c) if t_c >= 0.0 else reference_below(t_c)
    return w - 1.0, (w - reference) / (w - 1.0)


def _iec_above() -> tuple[float, float, float]:
    """a, b, c from the parabola through three points, by divided differences."""
    (x1, y1), (x2, y2), (x3, y3) = (_iec_share(t_c) for t_c in IEC_ABOVE_C)
    first, second = (y2 - y1) / (x2 - x1), (y3 - y2) / (x3 - x2)
    c = (second - first) / (x3 - x1)
    b = first - c * (x1 + x2)
    return y1 - b * x1 - c * x1 * x1, b, c


def _iec_below() -> tuple[float, float]:
    """a and b of a + b ln W through two points."""
    (x1, y1), (x2, y2) = (_iec_share(t_c) for t_c in IEC_BELOW_C)
    b = (y2 - y1) / (math.log1p(x2) - math.log1p(x1))
    return y1 - b * math.log1p(x1), b
