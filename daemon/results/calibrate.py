"""The results of a night: one fitted characteristic for each thermometer, with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from daemon.certified import certified, component_of, together_mk
from daemon.channels import CALIBRATED_ROLES, ChannelFacts
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.errors import FittingError
from daemon.fitting.points import PointResult
from daemon.fitting.uncertainty import Budget, Component, point_budget
from daemon.night import recorded_plan_texts
from daemon.preparation import channels_of
from daemon.results.choose import Making, fit_best
from daemon.results.gather import MeasuredPoint, measured_points
from daemon.results.immersion import Immersion, immersion_at
from daemon.results.numbers import day_and_clock
from daemon.results.reduce import Reduced, Scatter, reduce_point, scatter_of
from daemon.results.references import Apart, Further, compare, disagreement, to_the_mean
from daemon.results.returns import Hysteresis, Repeat, annealing_mk, change_k, hysteresis_of, repeats_of
from daemon.results.self_heating import SelfHeating, self_heating_at
from daemon.review.state import Exclusion, Review, read_review
from plans.loading import parse_plan
from plans.probe import Thermometer
from plans.run_plan import RunPlan

_EDGE_K = 0.5
_WANTED_MK = {"stirred_bath": 10.0, "dry_block": 50.0, "furnace": 100.0}
"""Uncertainty that a comparison in this kind of source can reach: common practice, no source."""


@dataclass(frozen=True)
class ItemResult:
    """What the night brought for one thermometer; `problem` says why there is no characteristic.

    R0 in ohm, before and after, from the points at 0 °C; `shift_mk` is after minus before, `return_mk` the
    same where the run returns to another temperature than 0 °C. So many successive readings as
    `readings_worth_one` says are worth one independent reading. With annealing, "before" is after
    it, and `annealing_mk` is what it changed: as left minus as found.
    """

    serial: str
    role: str
    kind: str
    points: tuple[Reduced, ...]
    characteristic: Characteristic | None
    budgets: tuple[Budget, ...]
    r0_before_ohm: float | None
    r0_after_ohm: float | None
    shift_mk: float | None
    return_mk: float | None
    hysteresis: tuple[Hysteresis, ...]
    repeatability_mk: float
    readings_worth_one: float
    self_heating: tuple[SelfHeating, ...] = ()
    immersion: tuple[Immersion, ...] = ()
    annealing_mk: float | None = None
    repeats: tuple[Repeat, ...] = ()
    shift_standard_mk: float = 0.0
    problem: str = ""


@dataclass(frozen=True)
class NightResult:
    """All results of one record, evaluated with what people decided about it."""

    run: RunPlan
    points: tuple[MeasuredPoint, ...]
    items: tuple[ItemResult, ...]
    review: Review = field(default_factory=Review)
    references: tuple[Apart, ...] = ()

    def item(self, serial: str) -> ItemResult:
        """One thermometer's result; raises KeyError."""
        for item in self.items:
            if item.serial == serial:
                return item
        raise KeyError(serial)


def calibrate(
    record: Path,
    upto: int | None = None,
    trying: Exclusion | None = None,
    otherwise: RunPlan | None = None,
) -> NightResult:
    """Evaluate a record from its own plan; raises RecordError, PlanError, FittingError (bad certificate).

    Points that a person excluded are left out of the fits, with the cause; with `upto` only what was signed
    up to that entry counts. `trying` is an exclusion that nobody signed yet, `otherwise` another plan by
    which to evaluate what was measured.
    """
    review = read_review(record, upto)
    if trying is not None:
        review.exclusions.append(trying)
    run = otherwise or parse_plan(*recorded_plan_texts(record))
    points = measured_points(record)
    channels = channels_of(run)
    reference = certified(run.reference.calibration)
    aparts = compare(points, _further(run, channels.values()), run.plan.reference.channel, reference)
    items = tuple(
        replace(
            _item(
                run,
                facts,
                to_the_mean(_reduced(points, facts, run.plan.reference.channel, reference), aparts),
                review,
                disagreement(aparts),
            ),
            self_heating=_self_heating(points, facts, run.plan.reference.channel, reference),
            immersion=_immersion(run, points, facts, reference),
        )
        for facts in channels.values()
        if facts.role in CALIBRATED_ROLES
    )
    return NightResult(run, tuple(points), items, review, aparts)


def _further(run: RunPlan, channels: Iterable[ChannelFacts]) -> list[Further]:
    by_name = {facts.name: facts for facts in channels if facts.role == "further_reference"}
    return [
        Further(by_name[one.serial], certified(one.calibration), together_mk(run.reference, one))
        for one in run.references[1:]
    ]


def _reduced(
    points: Sequence[MeasuredPoint], facts: ChannelFacts, reference_channel: int, reference: Characteristic
) -> tuple[Reduced, ...]:
    found = (reduce_point(point, facts, reference_channel, reference.temperature_c) for point in points)
    return tuple(reduced for reduced in found if reduced is not None)


def _self_heating(
    points: Sequence[MeasuredPoint], facts: ChannelFacts, reference_channel: int, reference: Characteristic
) -> tuple[SelfHeating, ...]:
    t90 = reference.temperature_c
    found = (self_heating_at(point, facts, reference_channel, t90) for point in points if point.by_current)
    return tuple(one for one in found if one is not None)


def _immersion(
    run: RunPlan, points: Sequence[MeasuredPoint], facts: ChannelFacts, reference: Characteristic
) -> tuple[Immersion, ...]:
    channel, t90, depth_mm = run.plan.reference.channel, reference.temperature_c, run.immersion_mm(facts.name)
    found = (immersion_at(point, facts, channel, t90, depth_mm) for point in points if point.by_depth)
    return tuple(one for one in found if one is not None)


def _item(
    run: RunPlan,
    facts: ChannelFacts,
    reduced: tuple[Reduced, ...],
    review: Review,
    apart: tuple[Component, ...],
) -> ItemResult:
    thermometer = run.thermometer(facts.name)
    scatter = scatter_of(reduced)
    before, after = _zeros(reduced)
    shift_mk = None if before is None or after is None else 1e3 * (after[0] - before[0]) / before[1]
    hysteresis = hysteresis_of(run, reduced, scatter)
    result = ItemResult(
        facts.name,
        facts.role,
        thermometer.kind,
        reduced,
        None,
        (),
        before and before[0],
        after and after[0],
        shift_mk,
        _return_mk(reduced),
        hysteresis,
        scatter.cycles_mk,
        scatter.readings_worth_one,
        shift_standard_mk=math.sqrt(2.0) * max((scatter.of_mean(p)[0] for p in reduced), default=0.0),
        annealing_mk=annealing_mk(reduced),
        repeats=repeats_of(run, reduced, scatter),
    )
    components = (*_from_certificate(run), *_from_bench(run), *_from_shift(result), *apart)
    try:
        fitted = [_point(p, scatter, _cause(p, facts.name, review, reduced)) for p in reduced]
        return _fitted(run, thermometer, result, fitted, components)
    except FittingError as problem:
        return replace(result, problem=str(problem))


def _fitted(
    run: RunPlan,
    thermometer: Thermometer,
    result: ItemResult,
    points: list[PointResult],
    components: tuple[Component, ...],
) -> ItemResult:
    between, wanted_mk = _between(result.hysteresis), _WANTED_MK[run.bench.heat_source.kind]
    making = Making(thermometer.kind, thermometer.construction == "film")
    characteristic = fit_best(making, points, components, between, wanted_mk)
    terms = (*components, *characteristic.added)
    budgets = tuple(_budget(p, r, terms) for p, r in zip(points, result.points, strict=True))
    return replace(result, characteristic=characteristic, budgets=budgets)


def _cause(reduced: Reduced, serial: str, review: Review, points: Sequence[Reduced]) -> str | None:
    """Why a point is not fitted. Shift, hysteresis and scatter still see it: leaving out hides nothing."""
    if not reduced.settled:
        return "no equilibrium within the longest wait"
    if reduced.index < max((p.index for p in points if p.stage == "annealed"), default=-1):
        return "as found, before the last annealing"
    found = review.excluded(reduced.index, serial)
    return None if found is None else f"{found.cause} ({found.by.name}, {day_and_clock(found.by.utc_s)})"


def _point(reduced: Reduced, scatter: Scatter, cause: str | None) -> PointResult:
    random_mk, freedom = scatter.of_mean(reduced)
    return PointResult(
        label=f"{reduced.label} ({reduced.set_temperature_c:g} °C)",
        temperature_c=reduced.temperature_c,
        resistance_ohm=reduced.resistance_ohm,
        random_ohm=1e-3 * random_mk * reduced.sensitivity_ohm_per_k,
        random_degrees_of_freedom=max(1.0, freedom),
        excluded_because=cause,
    )


def _budget(point: PointResult, reduced: Reduced, components: Sequence[Component]) -> Budget:
    repeatability = Component(
        "repeatability",
        point.random_ohm,
        "ohm",
        degrees_of_freedom=point.random_degrees_of_freedom,
        correlation="random",
        note=f"pooled over all points, {reduced.cycles} cycles here",
    )
    where = (point.temperature_c, point.resistance_ohm, reduced.sensitivity_ohm_per_k)
    return point_budget(point.label, *where, (repeatability, *components))


def _zeros(reduced: Sequence[Reduced]) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
    """R0 before the points (after annealing, if there was any) and after them."""
    annealed = _r0([*reversed(reduced)], "annealed")
    return annealed or _r0(reduced, "zero_before"), _r0(reduced, "zero_after")


def _return_mk(reduced: Sequence[Reduced]) -> float | None:
    """What changed at a return point that is not 0 °C, after minus before, in mK."""
    after = [point for point in reduced if point.stage == "zero_after"]
    before = [point for point in reduced if point.stage in ("zero_before", "annealed")]
    if not before or not after or abs(after[0].temperature_c) < _EDGE_K:
        return None
    return 1e3 * change_k(before[-1], after[0])


def _r0(reduced: Sequence[Reduced], stage: str) -> tuple[float, float] | None:
    """Resistance at 0 °C and its slope, from the point at 0 °C of that stage; None when there is none."""
    for point in reduced:
        if point.stage == stage and abs(point.temperature_c) < _EDGE_K:
            slope = point.sensitivity_ohm_per_k
            return point.resistance_ohm - slope * point.temperature_c, slope
    return None


def _from_certificate(run: RunPlan) -> tuple[Component, ...]:
    """That of the least certain of the references: their mean is not taken for better."""
    return max((certified(one.calibration) for one in run.references), key=_certificate_mk).added


def _certificate_mk(found: Characteristic) -> float:
    return float(found.expanded_uncertainty_k(found.range_c[0]))


def _from_bench(run: RunPlan) -> tuple[Component, ...]:
    return tuple(component_of(term, run.bench.ambient_c) for term in run.bench.budget)


def _from_shift(result: ItemResult) -> tuple[Component, ...]:
    """The item's shift of R0 is carried, never corrected away: half of it, since both zeros are used."""
    shift_mk, note = result.shift_mk, "half of the shift of R0 over this run"
    if shift_mk is None:
        shift_mk, note = result.return_mk, "half of the change at the return point over this run"
    if shift_mk is None:
        return ()
    return (Component("R0 shift of the item", abs(shift_mk) / 2.0, "mK", "rectangular", note=note),)


def _between(hysteresis: Sequence[Hysteresis]) -> tuple[Component, ...]:
    if not hysteresis:
        return ()
    largest_mk = max(abs(one.half_difference_mk) for one in hysteresis)
    note = "half the difference between approach from below and from above"
    return (Component("hysteresis of the item", largest_mk, "mK", "rectangular", note=note),)
