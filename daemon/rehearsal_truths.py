"""What a simulated bench's thermometers, and its standard resistor, really are: the truth that no fit sees.

Thermometers are drawn from the bench's seed; the reference follows its certificate plus an error drawn from
the certificate's own uncertainty and from the budget's terms.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from plans.bench import Simulation, Truth, UncertaintyTerm
from plans.calibration import Calibration
from plans.plan import Item
from plans.run_plan import RunPlan
from simulators.draw import Place, certified_its90, draw_head, draw_probe, draw_reference
from simulators.physics.noise import generator
from simulators.physics.platinum import Bridged, CallendarVanDusen, Characteristic, Insulation
from simulators.physics.probe import ProbeTruth

_NO_SELF_HEATING = 1e9


@dataclass(frozen=True)
class Start:
    """How a simulated bench begins: its source in °C (None: as warm as the room), what breaks when, and what
    thermometers read there in Ω, where they are not to be drawn freely."""

    source_c: float | None = None
    faults: Sequence[str] = ()
    ohms: Mapping[str, float] = field(default_factory=dict)


AS_DRAWN = Start()


def simulation_of(run: RunPlan) -> Simulation:
    """The bench's simulation table; raises ValueError on a real bench."""
    if run.bench.simulation is None:
        raise ValueError(f"{run.names.bench}: this is a real bench, it has no [simulation] table")
    return run.bench.simulation


def truths_of(run: RunPlan, start: Start) -> list[ProbeTruth]:
    """Every thermometer of the run and what else the bridge reads."""
    seed = simulation_of(run).seed
    items = [_item(run, item, seed) for item in run.plan.items]
    heads = [(t.serial, t.head_channel) for t in run.thermometers if t.head_channel is not None]
    drawn_heads = [draw_head(f"{serial} head", channel, seed) for serial, channel in heads]
    drawn = [_reference(run, seed), *items, *drawn_heads]
    truths, lags_s = simulation_of(run).truths, simulation_of(run).lags_s
    told = [_with_truth(probe, truths[probe.serial]) if probe.serial in truths else probe for probe in drawn]
    lagging = [_with_lag(probe, lags_s[probe.serial]) if probe.serial in lags_s else probe for probe in told]
    return [_reading(probe, start) for probe in lagging]


def start_of(run: RunPlan) -> float | None:
    """How warm the source is at the start in °C; None: as the room."""
    return None if run.bench.molten is None else run.bench.start_c


def true_resistor_ohm(run: RunPlan, seed: int) -> float | None:
    """What the standard resistor really has: its certified value and an error within its uncertainty."""
    resistor = run.bench.bridge.resistor
    if (resistor is None) != (run.bench.scanner is None):
        raise ValueError(
            f"{run.names.bench}: the simulated ratio bridge has one input: [bridge.resistor] and "
            "[scanner] go together"
        )
    if resistor is None:
        return None
    u_ppm = resistor.expanded_uncertainty_ppm / resistor.coverage_factor
    return resistor.ohm * (1.0 + 1e-6 * generator(seed, "resistor").gauss(0.0, u_ppm))


def _reading(probe: ProbeTruth, start: Start) -> ProbeTruth:
    """The drawn thermometer, its resistance scaled to what it reads at the start, where that is told."""
    if start.source_c is None or probe.serial not in start.ohms:
        return probe
    share = 1.0 - start.ohms[probe.serial] / probe.resistance_ohm(start.source_c)
    return replace(probe, characteristic=Bridged(probe.characteristic, share))


def _with_lag(probe: ProbeTruth, lag_s: float) -> ProbeTruth:
    first_s, second_s = probe.lags_s
    return replace(
        probe, lags_s=(first_s * lag_s / (first_s + second_s), second_s * lag_s / (first_s + second_s))
    )


def _with_truth(probe: ProbeTruth, truth: Truth) -> ProbeTruth:
    """The drawn thermometer with what the bench file says of it."""
    mohm, heating = truth.insulation_mohm, truth.heating_mw_per_k
    return replace(
        probe,
        characteristic=Bridged(probe.characteristic, truth.shorted_turns),
        hysteresis_ppm=truth.hysteresis_ppm,
        shift_ppm=truth.shift_ppm,
        emf_uv=truth.emf_uv,
        drifts_above_c=math.inf if truth.shifts_above_c is None else truth.shifts_above_c,
        insulation=probe.insulation if mohm is None else Insulation(at_22_c_mohm=mohm),
        self_heating_mw_per_k=probe.self_heating_mw_per_k if heating is None else heating,
    )


def _item(run: RunPlan, item: Item, seed: int) -> ProbeTruth:
    """A check standard follows its own certificate within its uncertainty; any other item is drawn."""
    thermometer = run.thermometer(item.serial)
    place = replace(_place(run), immersion_mm=run.immersion_mm(item.serial))
    calibration = thermometer.calibration
    if calibration is None:
        form = "callendar_van_dusen" if thermometer.kind == "iprt" else "its90"
        r0_ohm = thermometer.nominal_r0_ohm
        return draw_probe(item.serial, item.channel, thermometer.kind, r0_ohm, seed, form=form, place=place)
    return draw_reference(
        item.serial,
        item.channel,
        thermometer.kind,
        _certified(calibration),
        seed,
        u_common_mk=calibration.expanded_uncertainty_mk / calibration.coverage_factor,
        place=place,
    )


def _reference(run: RunPlan, seed: int) -> ProbeTruth:
    thermometer, calibration = run.reference, run.reference.calibration
    assert calibration is not None, "a plan without a calibrated reference is refused when it is read"
    certificate_mk = calibration.expanded_uncertainty_mk / calibration.coverage_factor
    drifts_mk = [_standard_mk(term) for term in run.bench.uncertainty if "drift" in term.name]
    drift_mk = math.hypot(certificate_mk, *drifts_mk)
    truth = draw_reference(
        thermometer.serial,
        run.plan.reference.channel,
        thermometer.kind,
        _certified(calibration),
        seed,
        u_common_mk=drift_mk,
        place=replace(_place(run), half_width_k=0.0, slope_half_width=0.0),
    )
    # Its certificate holds at the measuring current, so that current warms it no further here.
    return replace(truth, self_heating_mw_per_k=_NO_SELF_HEATING)


def _certified(calibration: Calibration) -> Characteristic:
    if calibration.equation == "its90":
        assert calibration.r_tpw_ohm is not None
        return certified_its90(calibration.r_tpw_ohm, {s.name: s.coefficients for s in calibration.subranges})
    cvd, r0_ohm = calibration.callendar_van_dusen, calibration.r0_ohm
    assert cvd is not None and r0_ohm is not None
    return CallendarVanDusen(r0_ohm, cvd.a, cvd.b, cvd.c)


def _place(run: RunPlan) -> Place:
    """Where a thermometer sits: its offset is drawn from the half-widths that the budget states."""
    source = run.bench.heat_source
    return Place(
        immersion_mm=source.immersion_mm,
        half_width_k=1e-3 * _half_width_mk(run, "constant"),
        slope_half_width=1e-5 * _half_width_mk(run, "ambient_excess"),
        in_bore=source.kind != "stirred_bath",
    )


def _half_width_mk(run: RunPlan, shape: str) -> float:
    terms = (t for t in run.bench.uncertainty if t.shape == shape and t.unit == "mK")
    # One rectangular draw with the variance of all of them: their plain sum would be wider than the budget.
    return math.hypot(*(t.size for t in terms if "uniformity" in t.name or "stem" in t.name))


def _standard_mk(term: UncertaintyTerm) -> float:
    return term.size / (term.divisor or math.sqrt(3.0)) if term.unit == "mK" else 0.0
