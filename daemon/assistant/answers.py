"""The few things that the assistant has to be told, and what the bench and the ratings make of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from daemon.preparation import LIMIT_MARGIN_K
from plans.bench import Bench
from plans.probe import Thermometer
from plans.rating import Limit
from plans.register import Register
from plans.run_plan import by_value, limits_over

RETURN_ABOVE_C = 50.0
"""Where a source that cannot go to 0 °C returns to, at least. Common practice, no source."""

_ROUND_K = 5.0
_GENTLE_K_PER_MIN = {"stirred_bath": 2.0, "dry_block": 4.0, "furnace": 3.0}


class CannotPlan(Exception):
    """No plan can be made of these answers; the message says why and what to change."""


@dataclass(frozen=True, slots=True)
class Answers:
    """Serials in channel order, the reference apart; `points`: how many temperatures are wanted at least."""

    title: str
    bench_file: str
    register_file: str
    reference: str
    items: tuple[str, ...]
    check_standard: str | None
    from_c: float
    to_c: float
    points: int = 0


@dataclass(frozen=True, slots=True)
class Fitted:
    """What can be done: range in °C, ramp in K/min, current in mA, and each limit that changed the wish."""

    low_c: float
    high_c: float
    ramp_k_per_min: float
    current_ma: float
    return_c: float
    because: tuple[str, ...]


def thermometers(answers: Answers, register: Register) -> list[Thermometer]:
    """Reference first, then items, then the check standard; raises CannotPlan for an unknown serial."""
    check = () if answers.check_standard is None else (answers.check_standard,)
    serials = (answers.reference, *answers.items, *check)
    unknown = [serial for serial in serials if register.find(serial) is None]
    if unknown:
        raise CannotPlan(
            f"{', '.join(unknown)} is not in {answers.register_file}; add it there or correct it."
        )
    return [one for serial in serials if (one := register.find(serial)) is not None]


def fit_to_ratings(answers: Answers, bench: Bench, placed: list[Thermometer]) -> Fitted:
    """The wish, cut to what reference, ratings, source and fluid allow; CannotPlan if nothing is left."""
    source, calibration = bench.heat_source, placed[0].calibration
    if calibration is None:
        raise CannotPlan(
            f"{answers.reference} has no calibration in the register and cannot be the reference."
        )
    if not answers.from_c < answers.to_c:
        raise CannotPlan("the range must rise: give the lower temperature first.")
    ramp = _ramp(bench, placed)
    reach_k = source.beyond_k(ramp) + LIMIT_MARGIN_K
    highest, lowest = limits_over(bench, placed)
    hottest, coldest = min(highest, key=by_value), max(lowest, key=by_value)
    certificate = f"certificate of the reference {answers.reference}"
    top = min(
        Limit(
            hottest.owner, hottest.value - reach_k, f"{hottest.rule}, less {reach_k:.0f} K to swing past it"
        ),
        Limit(certificate, calibration.maximum_c, "end of its range"),
        Limit("the source", source.maximum_c, "maximum_c of the bench file"),
        key=by_value,
    )
    bottom = max(coldest, Limit(certificate, calibration.minimum_c, "start of its range"), key=by_value)
    return_c = 0.0 if source.minimum_c <= 0.0 else max(RETURN_ABOVE_C, source.minimum_c + _ROUND_K)
    low_c = max(answers.from_c, _up(bottom.value), return_c if return_c else -math.inf)
    high_c = min(answers.to_c, _down(top.value))
    because = [
        *([f"not up to {answers.to_c:g} °C: {top.owner}, {top.rule}"] if high_c < answers.to_c else []),
        *(
            [f"not down to {answers.from_c:g} °C: {bottom.owner}, {bottom.rule}"]
            if low_c > answers.from_c
            else []
        ),
    ]
    if not low_c < high_c:
        raise CannotPlan(
            f"nothing is left of {answers.from_c:g} °C to {answers.to_c:g} °C: {'; '.join(because)}."
        )
    current_ma = min(one.current.value for one in placed)
    return Fitted(low_c, high_c, ramp, current_ma, return_c, tuple(because))


def _ramp(bench: Bench, placed: list[Thermometer]) -> float:
    source = bench.heat_source
    bears = [one.heating.value for one in placed] + [one.cooling_from(0.0).value for one in placed]
    return min(_GENTLE_K_PER_MIN[source.kind], source.ramp_limit_k_per_min, *bears)


def _down(value: float) -> float:
    return _ROUND_K * math.floor(value / _ROUND_K)


def _up(value: float) -> float:
    return _ROUND_K * math.ceil(value / _ROUND_K)
