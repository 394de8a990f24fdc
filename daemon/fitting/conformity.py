"""Conformity with a tolerance, by a decision rule agreed beforehand.

Sources: JCGM 106:2012 for the probability of conformity, ILAC-G8:09/2019 for guard bands and the four words.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import NormalDist

import numpy as np

from daemon.fitting.characteristic import Characteristic
from daemon.fitting.classes import ToleranceClass, nominal_temperature_c
from daemon.fitting.errors import FittingError


class Verdict(StrEnum):
    """The statement, worst last."""

    PASS = "pass"
    CONDITIONAL_PASS = "conditional pass"
    CONDITIONAL_FAIL = "conditional fail"
    FAIL = "fail"


class Rule(StrEnum):
    """How the uncertainty enters the decision."""

    SIMPLE = "simple acceptance"
    GUARD_BAND = "guard band w = U"
    PROBABILITY = "probability of conformity"


RULE_RISK = {
    Rule.SIMPLE: "a result at the limit is falsely accepted in up to 50 % of cases",
    Rule.GUARD_BAND: "a result accepted is outside the tolerance in less than 2.5 % of cases",
    Rule.PROBABILITY: "accepted when the tolerance holds the true value with at least the probability agreed",
}


def probability_of_conformity(
    value: float, standard: float, lower: float = -math.inf, upper: float = math.inf
) -> float:
    """Probability that the true value lies between the limits, normal about the result; one unit."""
    if not (standard > 0 and lower < upper):
        raise FittingError("a standard uncertainty above 0 and a lower limit below the upper one are needed")
    normal = NormalDist()
    above = 1.0 if upper == math.inf else normal.cdf((upper - value) / standard)
    below = 0.0 if lower == -math.inf else normal.cdf((lower - value) / standard)
    return above - below


def false_acceptance_risk(guard_share: float) -> float:
    """Largest one-sided risk with a guard band of `guard_share`·U, U = 2u."""
    return NormalDist().cdf(-2 * guard_share)


def decide(
    error: float,
    expanded: float,
    tolerance: float,
    rule: Rule,
    probability: float = 0.95,
    coverage_factor: float = 2.0,
) -> Verdict:
    """The verdict for an error with U, against ± tolerance; one unit throughout.

    Simple acceptance knows pass and fail. With the guard band w = U: pass up to T - w, conditional pass up
    to T, conditional fail up to T + w.
    By probability: pass from `probability`, fail from the same the other way.
    """
    size = abs(error)
    if not (size < math.inf and 0 <= expanded < math.inf and 0 < tolerance < math.inf):
        raise FittingError(
            f"cannot judge an error of {error} with U {expanded} against a tolerance of {tolerance}"
        )
    if rule is Rule.SIMPLE:
        return Verdict.PASS if size <= tolerance else Verdict.FAIL
    if rule is Rule.GUARD_BAND:
        return _by_limits(size, (tolerance - expanded, tolerance, tolerance + expanded))
    inside = probability_of_conformity(error, expanded / coverage_factor, -tolerance, tolerance)
    return _by_limits(-inside, (-probability, -0.5, -(1 - probability)))


def _by_limits(value: float, limits: tuple[float, float, float]) -> Verdict:
    return next(
        (verdict for verdict, limit in zip(Verdict, limits, strict=False) if value <= limit), Verdict.FAIL
    )


@dataclass(frozen=True)
class ClassJudgement:
    """The class judged over the range actually tested; `worst_c` is where the verdict was decided."""

    class_name: str
    rule: Rule
    verdict: Verdict
    tested_range_c: tuple[float, float]
    worst_c: float
    worst_error_k: float
    worst_expanded_k: float
    sentences: tuple[str, ...]


def judge_class(
    characteristic: Characteristic,
    tolerance: ToleranceClass,
    r0_nominal_ohm: float,
    rule: Rule,
    probability: float = 0.95,
    coverage: float = 0.95,
) -> ClassJudgement:
    """Judge over the part of the calibrated range in which the class applies, in temperature.

    The error is what an indicator set to the nominal characteristic would show minus t90. Raises FittingError
    when range and class do not overlap.
    """
    low = max(characteristic.range_c[0], tolerance.range_c[0])
    high = min(characteristic.range_c[1], tolerance.range_c[1])
    if not low < high:
        raise FittingError(
            f"class {tolerance.name} ({tolerance.construction}) applies from {tolerance.range_c[0]:g} °C to "
            f"{tolerance.range_c[1]:g} °C, which the calibrated range does not reach"
        )
    where = np.unique(np.concatenate((np.linspace(low, high, 201), [0.0] if low < 0 < high else [])))
    error = nominal_temperature_c(characteristic.resistance_ohm(where), r0_nominal_ohm) - where
    at = characteristic.uncertainty_at(where, coverage)
    allowed = tolerance.tolerance_k(where)
    verdicts = [
        decide(float(e), float(u), float(t), rule, probability, float(k))
        for e, u, t, k in zip(error, at.expanded_k, allowed, at.coverage_factor, strict=True)
    ]
    worst = _worst(verdicts, np.abs(error) / allowed)
    return ClassJudgement(
        tolerance.name,
        rule,
        verdicts[worst],
        (low, high),
        float(where[worst]),
        float(error[worst]),
        float(at.expanded_k[worst]),
        (RULE_RISK[rule], _range_words(tolerance, low, high)),
    )


def _worst(verdicts: Sequence[Verdict], share: np.ndarray[tuple[int], np.dtype[np.float64]]) -> int:
    order = list(Verdict)
    return max(range(len(verdicts)), key=lambda i: (order.index(verdicts[i]), share[i]))


def _range_words(tolerance: ToleranceClass, low: float, high: float) -> str:
    whole = (low, high) == tolerance.range_c
    words = "the whole range of the class" if whole else "the part of the class's range that was tested"
    return f"judged from {low:.1f} °C to {high:.1f} °C, {words}"
