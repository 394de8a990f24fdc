"""A run plan as a flat list of plain steps: what the procedure does, in order, nothing left open."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from plans.plan import ImmersionTable, OnTimeout
from plans.run_plan import RunPlan
from plans.settings import Equilibrium, Resolved, Sequence

Approach = Literal["start", "from_below", "from_above", "same"]
SAME_TEMPERATURE_K = 1e-3
_PREPARING = ("anneal", "annealed")


StepKind = Literal["zero_before", "anneal", "annealed", "point", "zero_after"]


@dataclass(frozen=True, slots=True)
class Step:
    """One temperature: go there, become stable, soak, read (annealing: go there, stay for the soak time).

    `index` counts all steps from 0; `number` is the point's place in the plan from 1 (0 for the zero points);
    `partner` is the index of the step at the same temperature approached from the other side (hysteresis).
    """

    kind: StepKind
    index: int
    number: int
    label: str
    temperature_c: float
    approach: Approach
    partner: int | None
    ramp_k_per_min: float
    current_ma: float
    equilibrium: Equilibrium
    sequence: Sequence
    soak_s: float
    maximum_wait_s: float
    on_timeout: OnTimeout
    self_heating_ma: float | None = None
    immersion: ImmersionTable | None = None


@dataclass(frozen=True, slots=True)
class FinishStep:
    """The last step: go to parking and leave the heater so."""

    index: int
    temperature_c: float
    ramp_k_per_min: float
    heater: Literal["off", "on"]
    kind: Literal["finish"] = "finish"
    label: str = "parking"


def unroll(run: RunPlan) -> tuple[Step | FinishStep, ...]:
    """All steps, the finish last."""
    steps = measuring_steps(run)
    return (*steps, finish_step(run, len(steps)))


def measuring_steps(run: RunPlan) -> tuple[Step, ...]:
    """Zero point, points, zero point, with hysteresis partners found."""
    zero = run.plan.zero
    label = "zero" if zero.kind == "in_source" else "return point"
    steps: list[Step] = []
    if zero.first:
        _add(steps, "zero_before", 0, f"{label} before", zero.temperature_c, run.zero_settings)
    _add_annealing(steps, run)
    for number, point in enumerate(run.plan.points, 1):
        text = point.label or f"point {number}"
        _add(steps, "point", number, text, point.temperature_c, run.settings(point))
        steps[-1] = replace(
            steps[-1], self_heating_ma=point.self_heating_ma, immersion=point.immersion_profile
        )
    if zero.last:
        _add(steps, "zero_after", 0, f"{label} after", zero.temperature_c, run.zero_settings)
    return tuple(replace(step, partner=_partner(step, steps)) for step in steps)


def attended_steps(run: RunPlan) -> tuple[Step, ...]:
    """Steps that ask a person to do something; a run with any of them is never left alone."""
    return tuple(step for step in measuring_steps(run) if step.immersion is not None)


def finish_step(run: RunPlan, index: int) -> FinishStep:
    """Parking, reached no faster than anything in the source may be heated or cooled."""
    ramp = min(run.zero_settings.ramp_k_per_min, run.rating.heating.value, run.rating.cooling.value)
    return FinishStep(index, run.parking_c, ramp, run.parked_heater)


def _add_annealing(steps: list[Step], run: RunPlan) -> None:
    anneal, zero, settings = run.plan.anneal, run.plan.zero, run.zero_settings
    if anneal is None:
        return
    down = min(settings.ramp_k_per_min, anneal.cooling_k_per_min or settings.ramp_k_per_min)
    for cycle in range(1, anneal.cycles + 1):
        name = f"annealing {cycle} of at most {anneal.cycles}"
        hold = replace(settings, soak_s=60.0 * anneal.hold_minutes)
        _add(steps, "anneal", 0, name, anneal.temperature_c, hold)
        _add(
            steps, "annealed", 0, f"after {name}", zero.temperature_c, replace(settings, ramp_k_per_min=down)
        )


def _add(
    steps: list[Step],
    kind: StepKind,
    number: int,
    label: str,
    temperature_c: float,
    settings: Resolved,
) -> None:
    steps.append(
        Step(
            kind=kind,
            index=len(steps),
            number=number,
            label=label,
            temperature_c=temperature_c,
            approach=_approach(steps, temperature_c),
            partner=None,
            ramp_k_per_min=settings.ramp_k_per_min,
            current_ma=settings.current_ma,
            equilibrium=settings.equilibrium,
            sequence=settings.sequence,
            soak_s=settings.soak_s,
            maximum_wait_s=settings.maximum_wait_s,
            on_timeout=settings.on_timeout,
        )
    )


def _approach(before: list[Step], temperature_c: float) -> Approach:
    if not before:
        return "start"
    change = temperature_c - before[-1].temperature_c
    if abs(change) <= SAME_TEMPERATURE_K:
        return "same"
    return "from_below" if change > 0.0 else "from_above"


def _partner(step: Step, steps: list[Step]) -> int | None:
    other = {"from_below": "from_above", "from_above": "from_below"}.get(step.approach)
    if step.kind in _PREPARING:
        return None
    for one in steps:
        if (
            one.kind not in _PREPARING
            and one.approach == other
            and abs(one.temperature_c - step.temperature_c) <= SAME_TEMPERATURE_K
        ):
            return one.index
    return None
