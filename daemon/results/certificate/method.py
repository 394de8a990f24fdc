"""How it was done, in sentences: comparison, medium, immersion, order, equilibrium, readings, current."""

from __future__ import annotations

from daemon.results.certificate.facts import Facts
from plans.plan import Placed
from plans.probe import Thermometer
from plans.run_plan import RunPlan
from plans.unroll import measuring_steps

_SOURCES = {"stirred_bath": "stirred bath", "dry_block": "dry block", "furnace": "furnace"}


def method_sentences(facts: Facts) -> list[str]:
    """The method, and what departed from it."""
    run = facts.evaluated.night.run
    steps = measuring_steps(run)
    points = ", ".join(f"{step.temperature_c:g}" for step in steps)
    sequence, currents = steps[0].sequence, sorted({step.current_ma for step in steps})
    current = ", ".join(f"{one:g} mA" for one in currents)
    reversal = ", the mean of both directions" if sequence.reverse_current else ", one direction"
    return [
        f"Comparison with {_references(run)} in a {_medium(run)}, resistance "
        f"measured by the bridge of {run.bench.name}.",
        f"Immersion {_immersion(facts):g} mm, {facts.thermometer.wires} wires; measuring current {current}"
        f"{reversal}; resistances as measured with it, not extrapolated to zero power.",
        f"Temperatures in the order measured: {points} °C.",
        *_annealing(run),
        "At each temperature readings began when the drift and scatter of the reference and the drift of "
        "every thermometer against it had met their criterion over one window; then the reference and the "
        f"thermometers were read in the order S U1 … Un Un … U1 S in {sequence.cycles} cycles with "
        f"{sequence.readings_per_visit} readings each, so that linear drift cancels.",
        "Temperatures are t90 of the International Temperature Scale of 1990 (ITS-90).",
        f"Deviations from the method: {facts.papers.order.method_deviations or 'none'}.",
    ]


def conditions(facts: Facts) -> str:
    """The room: what the order says of it, and what an ambient monitor showed during the run."""
    measured = [
        f"{one.spoken} {one.in_words(float(trace.value.min()))} to {one.in_words(float(trace.value.max()))}"
        for one, trace in facts.evaluated.story.traces.beside.items()
        if one.role == "ambient"
    ]
    told = [
        *([facts.papers.order.environment] if facts.papers.order.environment else []),
        *([f"Measured in the room during the run: {', '.join(measured)}."] if measured else []),
    ]
    return " ".join(told) or "Conditions of the room were not recorded."


def traceability(facts: Facts, *references: Thermometer) -> str:
    """To what the results by these references are traceable, as far as the papers say."""
    certificate = ", ".join(
        f"certificate {one.calibration.certificate} of {one.calibration.date.isoformat()}"
        for one in references
        if one.calibration is not None
    )
    told = facts.papers.laboratory.traceability
    return f"Reference thermometer: {certificate}. {told}".rstrip()


def _annealing(run: RunPlan) -> list[str]:
    anneal = run.plan.anneal
    if anneal is None:
        return []
    return [
        f"Annealed at {anneal.temperature_c:g} °C for {anneal.hold_minutes:g} min after being measured as "
        f"found, at most {anneal.cycles} times, until no thermometer changed by more than "
        f"{anneal.stable_within_mk:g} mK at {run.plan.zero.temperature_c:g} °C."
    ]


def _references(run: RunPlan) -> str:
    serials = " and ".join(one.serial for one in run.references)
    if len(run.references) == 1:
        return f"the reference thermometer {serials}"
    return f"the mean of the reference thermometers {serials}"


def _medium(run: RunPlan) -> str:
    fluid = f" with {run.bench.fluid.name}" if run.bench.fluid is not None else ""
    return f"{_SOURCES[run.bench.heat_source.kind]}{fluid}"


def _immersion(facts: Facts) -> float:
    run = facts.evaluated.night.run
    placed: Placed = next(one for one in run.plan.placed if one.serial == facts.item.serial)
    return placed.immersion_mm or run.bench.heat_source.immersion_mm
