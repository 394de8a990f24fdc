"""From a run plan to what the procedure and the guards need to know."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from daemon.certified import certified, component_of
from daemon.channels import Certificate, ChannelFacts
from daemon.dew_point import CLEAR_K
from daemon.equilibrium import Criterion
from daemon.fitting import its90
from daemon.fitting.callendar_van_dusen import IEC_A, IEC_B, IEC_C, temperature_of_one_c
from daemon.fitting.errors import FittingError
from daemon.guards.situation import Limits
from daemon.procedure.script import Annealing, ImmersionProfile, Point, Script, Source
from daemon.timetable import WARMING_S, forecast, immersion_time_s, sequence_time_s, slow_until_c
from drivers.quantities import ABSOLUTE_ZERO_C
from drivers.roles import HeatSourceCapabilities
from plans.probe import Thermometer
from plans.run_plan import RunPlan
from plans.unroll import Step, measuring_steps

LIMIT_MARGIN_K = 5.0
"""The run's limit lies this far below the lowest rating. Common practice, no source."""

_SCAN_CURRENT_MA = 1.0
_COLDER_ROOM_K = 10.0
_READING_OVERHEAD_S = 0.1
_APPROACH_SPARE_S = 4 * 3600.0
_RUN_SPARE_S = 2 * 3600.0


def script_of(run: RunPlan, capabilities: HeatSourceCapabilities) -> Script:
    """Everything the procedure may know of this run."""
    bench, molten = run.bench.heat_source, run.bench.molten
    coldest = bench.minimum_c if molten is None else max(bench.minimum_c, molten.minimum.value)
    source = Source(
        can_ramp=capabilities.ramp,
        heater_switch=capabilities.heater_switch,
        cooling_switch=capabilities.cooling_switch,
        parking_c=run.parking_c,
        minimum_c=max(capabilities.minimum_c, coldest),
        cooling_k_per_min=lambda t: _cooling_from(run, t),
        display_offset_k=bench.display_offset_k,
        molten="" if molten is None else molten.name,
        freezing_c=0.0 if molten is None else molten.freezing_c,
    )
    points = tuple(
        _point(run, step, ramp) for step, ramp in zip(measuring_steps(run), _ramps(run), strict=True)
    )
    return Script(
        points,
        channels_of(run),
        source,
        min(p.current_ma for p in points),
        _annealing(run),
        _clear_of_dew_k(run),
    )


def _clear_of_dew_k(run: RunPlan) -> float | None:
    if run.bench.ambient is None:
        return None
    return run.plan.guards.get("condensation", {}).get("clear_k", CLEAR_K)


def _annealing(run: RunPlan) -> Annealing | None:
    anneal = run.plan.anneal
    if anneal is None:
        return None
    return Annealing(anneal.stable_within_mk, anneal.when_unstable == "end")


def limits_of(run: RunPlan) -> Limits:
    """The run's limits with the item that set each; computed once, before heat."""
    bench, rating, interlocks = run.bench.heat_source, run.rating, run.bench.interlocks
    # A block's own lowest temperature is where its control begins; it stands colder than that every morning.
    harmful = [limit for limit in rating.lowest_of if limit.value < run.bench.ambient_c - _COLDER_ROOM_K]
    harmful += [] if run.bench.molten is None else [run.bench.molten.minimum]
    lowest = max(harmful, key=lambda limit: limit.value, default=rating.lowest)
    return Limits(
        highest_c=rating.highest.value - LIMIT_MARGIN_K,
        highest_set_by=f"{rating.highest.owner}, {rating.highest.value:g} °C less {LIMIT_MARGIN_K:g} K",
        lowest_c=lowest.value,
        lowest_set_by=lowest.owner,
        heating_k_per_min=min(rating.heating.value, bench.ramp_limit_k_per_min),
        cooling_k_per_min=rating.cooling.value,
        cooling_at=lambda t: _cooling_from(run, t),
        coast_s=bench.coast_time_s,
        parking_c=run.parking_c,
        longest_point_s=_longest_point_s(run),
        longest_run_s=1.5 * forecast(run).total_s + _RUN_SPARE_S,
        reference_turn_s=max(_cycle_s(run, step) for step in measuring_steps(run)),
        display_offset_k=bench.display_offset_k,
        places_mk=lambda t: _places_mk(run, t),
        minimum_stirrer_speed_per_min=interlocks.minimum_stirrer_speed_per_min if interlocks else None,
        minimum_level_mm=interlocks.minimum_level_mm if interlocks else None,
    )


def channels_of(run: RunPlan) -> dict[int, ChannelFacts]:
    """What is on each channel: the reference first, then the items, then their head sensors."""
    roles = {run.plan.reference.serial: "reference"} | {i.serial: i.role for i in run.plan.items}
    settling_s = {placed.serial: placed.settling_s for placed in run.plan.placed}
    held = run.references if len(run.references) > 1 else ()
    channels = {}
    for channel, serial in run.channels.items():
        thermometer = run.thermometer(serial)
        channels[channel] = ChannelFacts(
            channel,
            serial,
            roles[serial],
            thermometer.nominal_r0_ohm,
            to_celsius(thermometer),
            _allowance_k(thermometer),
            thermometer.minimum.value,
            thermometer.maximum.value,
            needs_annealing=thermometer.kind == "sprt",
            known=thermometer.calibration is not None or thermometer.last_r0_ohm is not None,
            discards=math.ceil(settling_s[serial] / run.bench.bridge.integration_s),
            certificate=_certificate(thermometer) if thermometer in held else None,
        )
    for thermometer in run.thermometers:
        if thermometer.head_channel is not None:
            channels[thermometer.head_channel] = _head(thermometer, thermometer.head_channel)
    return channels


def _certificate(thermometer: Thermometer) -> Certificate:
    """Raises FittingError for a certificate that cannot be, as the evaluation in the morning would."""
    calibration = thermometer.calibration
    found = certified(calibration)

    def t90(ohm: float) -> float | None:
        try:
            return found.temperature_c(ohm)
        except FittingError:
            return None

    return Certificate(t90, calibration.expanded_uncertainty_mk if calibration is not None else math.inf)


def _places_mk(run: RunPlan, temperature_c: float) -> float:
    """All terms of the bench at a temperature, k = 2, in mK; those of the bridge in ppm are left out."""
    where, one = np.array([temperature_c]), np.ones(1)
    terms = (component_of(term, run.bench.ambient_c) for term in run.bench.uncertainty if term.unit == "mK")
    return 2e3 * math.hypot(*(float(term.standard_k(where, one, one)[0]) for term in terms))


def to_celsius(thermometer: Thermometer) -> Callable[[float], float]:
    """Ohm → °C by the nominal function: good for watching, not for results."""
    calibration = thermometer.calibration
    if thermometer.kind == "iprt":
        r0_ohm = thermometer.last_r0_ohm or (calibration.r0_ohm if calibration else None)
        r0_ohm = r0_ohm or thermometer.nominal_r0_ohm
        return lambda ohm: _bounded(temperature_of_one_c, ohm / r0_ohm, IEC_A, IEC_B, IEC_C)
    at_zero_ohm = thermometer.last_r0_ohm or thermometer.nominal_r0_ohm
    r_tpw_ohm = (calibration.r_tpw_ohm if calibration else None) or at_zero_ohm * 1.00004
    return lambda ohm: _bounded(its90.temperature_of_one_c, ohm / r_tpw_ohm)


def _bounded(function: Callable[..., float], ratio: float, *rest: float) -> float:
    # A ratio that no platinum shows is an open or shorted sensor; the sensor guards speak of that.
    try:
        return function(ratio, *rest)
    except FittingError:
        return ABSOLUTE_ZERO_C if ratio < 1.0 else 1000.0


def _allowance_k(thermometer: Thermometer) -> float:
    return 0.5 if thermometer.calibration is not None else 2.0


def _head(thermometer: Thermometer, channel: int) -> ChannelFacts:
    nominal_ohm = 100.0
    return ChannelFacts(
        channel,
        thermometer.serial,
        "head",
        nominal_ohm,
        lambda ohm: _bounded(temperature_of_one_c, ohm / nominal_ohm, IEC_A, IEC_B, IEC_C),
        2.0,
        thermometer.head_minimum_c,
        thermometer.head_maximum_c,
    )


def _ramps(run: RunPlan) -> list[float]:
    """The ramp of each step in K/min: the plan's, or what source and probes bear in that direction."""
    ramps, before_c = [], run.bench.start_c
    for step in measuring_steps(run):
        rising = step.temperature_c >= before_c
        # The slow part of a fall is commanded on its own, before this ramp.
        knee_c = slow_until_c(run, before_c, step.temperature_c)
        from_c = before_c if knee_c is None else knee_c
        bears = run.rating.heating.value if rising else _cooling_from(run, from_c)
        ramps.append(min(step.ramp_k_per_min, bears, run.bench.heat_source.ramp_limit_k_per_min))
        before_c = step.temperature_c
    return ramps


def _cooling_from(run: RunPlan, temperature_c: float) -> float:
    return min(one.cooling_from(temperature_c).value for one in run.thermometers)


def _point(run: RunPlan, step: Step, ramp_k_per_min: float) -> Point:
    equilibrium, sequence, source = step.equilibrium, step.sequence, run.bench.heat_source
    return Point(
        index=step.index,
        stage=step.kind,
        label=step.label,
        temperature_c=step.temperature_c,
        ramp_k_per_min=ramp_k_per_min,
        current_ma=step.current_ma,
        criterion=Criterion(
            equilibrium.window_s,
            equilibrium.drift_mk,
            equilibrium.scatter_mk,
            equilibrium.item_drift_mk,
            equilibrium.remaining_mk,
        ),
        minimum_soak_s=step.soak_s,
        maximum_wait_s=step.maximum_wait_s,
        on_timeout=step.on_timeout,
        cycles=sequence.cycles,
        readings_per_visit=sequence.readings_per_visit,
        discard_after_switch=sequence.discard_after_switch,
        reverse_current=sequence.reverse_current,
        self_heating_ma=step.self_heating_ma,
        discard_after_current=math.ceil(WARMING_S / run.bench.bridge.integration_s),
        immersion=_immersion(run, step),
        cooling_on=None if source.cooling_below_c is None else step.temperature_c <= source.cooling_below_c,
    )


def _immersion(run: RunPlan, step: Step) -> ImmersionProfile | None:
    profile = step.immersion
    if profile is None:
        return None
    channel = next(c for c, serial in run.channels.items() if serial == profile.serial)
    return ImmersionProfile(channel, profile.step_mm, 60.0 * profile.wait_minutes)


def _cycle_s(run: RunPlan, step: Step) -> float:
    """How long one symmetrical cycle takes, in s."""
    bridge, sequence = run.bench.bridge, step.sequence
    readings = float(sequence.readings_a_visit)
    if step.self_heating_ma is not None:
        readings += WARMING_S / bridge.integration_s
    visit_s = bridge.settling_s + readings * (bridge.integration_s + _READING_OVERHEAD_S)
    settling_s = math.fsum(placed.settling_s for placed in run.plan.placed)
    return 2.0 * (len(run.channels) * visit_s + settling_s)


def _longest_point_s(run: RunPlan) -> float:
    """Longer than any point can need: approach, longest wait, soak and readings, with room to spare."""
    longest_s, before_c = 0.0, run.bench.start_c
    for step, ramp in zip(measuring_steps(run), _ramps(run), strict=True):
        approach_s = 120.0 * math.fabs(step.temperature_c - before_c) / ramp
        reading_s = 2.0 * step.sequence.cycles * _cycle_s(run, step)
        reading_s += 2.0 * immersion_time_s(run, step)
        reading_s += 2.0 * (0.0 if step.self_heating_ma is None else sequence_time_s(run, step))
        total_s = approach_s + _APPROACH_SPARE_S + step.maximum_wait_s + step.soak_s + reading_s
        longest_s, before_c = max(longest_s, total_s), step.temperature_c
    return longest_s
