"""Whether the thermometers of a plan can do what it asks: calibrated there, not over-driven, deep enough."""

from __future__ import annotations

from collections.abc import Iterator

from plans.errors import Problem
from plans.plan import MOST_STEPS_OUT
from plans.probe import Thermometer
from plans.run_plan import RunPlan

SMALLEST_CURRENT_RATIO = 1.3  # closer ones multiply the noise by more than two


def suitability(run: RunPlan) -> Iterator[Problem]:
    """Misfits between thermometers and plan; every serial must be known."""
    yield from _references(run)
    yield from _currents(run)
    yield from _depths(run)
    yield from _profiles(run)


def temperatures(run: RunPlan) -> Iterator[tuple[str, float]]:
    """Where each temperature stands in the plan, and the temperature in °C."""
    if run.plan.zero.first or run.plan.zero.last:
        yield "[zero] temperature_c", run.plan.zero.temperature_c
    for number, point in enumerate(run.plan.points, 1):
        yield f"[[points]] {number}, temperature_c", point.temperature_c


def heated_to(run: RunPlan) -> Iterator[tuple[str, float]]:
    """The same with the annealing, at which nothing is measured."""
    yield from temperatures(run)
    if run.plan.anneal is not None:
        yield "[anneal] temperature_c", run.plan.anneal.temperature_c


def _references(run: RunPlan) -> Iterator[Problem]:
    for one in run.references:
        yield from _reference(run, one)


def _reference(run: RunPlan, one: Thermometer) -> Iterator[Problem]:
    calibration, serial = one.calibration, one.serial
    place = "[reference] serial" if one is run.reference else "[[items]] serial"
    if calibration is None:
        sentence = (
            f"has no calibration in {run.names.register}, so it cannot be the reference; "
            "add its [thermometers.calibration] or name another reference."
        )
        yield Problem(run.names.plan, place, serial, sentence)
        return
    for where, temperature_c in temperatures(run):
        if not calibration.covers(temperature_c):
            sentence = (
                f"the reference {serial} is calibrated from {calibration.minimum_c:g} °C to "
                f"{calibration.maximum_c:g} °C only; move the point there or take another reference."
            )
            yield Problem(run.names.plan, where, f"{temperature_c:g}", sentence)


def _currents(run: RunPlan) -> Iterator[Problem]:
    currents = {run.zero_settings.current_ma: "[defaults] current_ma"}
    for number, point in enumerate(run.plan.points, 1):
        currents.setdefault(run.settings(point).current_ma, f"[[points]] {number}, current_ma")
        if point.self_heating_ma is not None:
            currents.setdefault(point.self_heating_ma, f"[[points]] {number}, self_heating_ma")
            yield from _too_close(run, number, run.settings(point).current_ma, point.self_heating_ma)
    for current_ma, where in currents.items():
        for limit in (one.current for one in run.thermometers):
            if not current_ma <= limit.value:
                sentence = (
                    f"{limit.owner} may carry {limit.value:g} mA at most ({limit.rule}); "
                    f"measure at {limit.value:g} mA or take it out."
                )
                yield Problem(run.names.plan, where, f"{current_ma:g}", sentence)


def _too_close(run: RunPlan, number: int, first_ma: float, second_ma: float) -> Iterator[Problem]:
    ratio = max(first_ma, second_ma) / min(first_ma, second_ma)
    if not ratio >= SMALLEST_CURRENT_RATIO:
        sentence = (
            f"too close to {first_ma:g} mA to tell the heating from the noise; "
            f"use at most {first_ma / SMALLEST_CURRENT_RATIO:.2g} mA, half of it is best."
        )
        yield Problem(run.names.plan, f"[[points]] {number}, self_heating_ma", f"{second_ma:g}", sentence)


def _profiles(run: RunPlan) -> Iterator[Problem]:
    """An immersion profile is of an item of this run, whose sensing length stays in the source."""
    for number, point in enumerate(run.plan.points, 1):
        profile, where = point.immersion_profile, f"[[points]] {number}, immersion_profile"
        if profile is None:
            continue
        if profile.serial not in {item.serial for item in run.plan.items}:
            sentence = "not among the [[items]] of this plan; name one of them."
            yield Problem(run.names.plan, f"{where} serial", profile.serial, sentence)
            continue
        left_mm = run.immersion_mm(profile.serial) - MOST_STEPS_OUT * profile.step_mm
        if not left_mm > run.thermometer(profile.serial).sensing_length_mm:
            sentence = (
                f"{MOST_STEPS_OUT} steps out leave {left_mm:g} mm inside, less than the sensing length; "
                "take smaller steps."
            )
            yield Problem(run.names.plan, f"{where} step_mm", f"{profile.step_mm:g}", sentence)


def _depths(run: RunPlan) -> Iterator[Problem]:
    for thermometer in run.thermometers:
        depth, length = run.immersion_mm(thermometer.serial), thermometer.length_below_handle_mm
        if not thermometer.sensing_length_mm < depth < length:
            sentence = (
                f"{thermometer.owner} would be {depth:g} mm deep; it must be deeper than its sensing length "
                f"({thermometer.sensing_length_mm:g} mm) and its handle, {length:g} mm up, must stay out."
            )
            yield Problem(run.names.plan, "immersion_mm", f"{depth:g}", sentence)
