"""Points too hot for a probe, the source or the fluid, with approach and overshoot counted in."""

from __future__ import annotations

import math
from collections.abc import Iterator

from daemon.precheck.findings import Finding, degrees, listed, named
from plans.probe import Thermometer
from plans.rating import SHEATH_MAXIMUM, SHEATH_NAMES, Limit
from plans.run_plan import RunPlan
from plans.unroll import Step, measuring_steps

STAINLESS_CAUTION_C = 420.0  # common practice, no source: laboratories stop between 420 and 450 °C
METAL_VAPOUR_C = 450.0  # from memory
_SILICA = ("fused_silica", "fused_silica_high")


def reach_c(run: RunPlan, step: Step) -> float:
    """Highest temperature a probe can meet at this step."""
    return step.temperature_c + run.bench.heat_source.beyond_k(step.ramp_k_per_min)


def too_hot(run: RunPlan) -> Iterator[Finding]:
    """One refusal for each thing that would get too hot; a short note of the tightest limit otherwise."""
    steps = measuring_steps(run)
    refused = False
    for limit in run.rating.highest_of:
        over = [step for step in steps if not reach_c(run, step) <= limit.value]
        if over:
            refused = True
            yield _refusal(run, limit, over)
    if not refused:
        yield _margin(run, steps)


def metals(run: RunPlan) -> Iterator[Finding]:
    """Sheaths used near or past what their material is usually trusted with."""
    top = max(run.visited_c)
    for one in run.thermometers:
        usual, rule = SHEATH_MAXIMUM[one.sheath]
        if one.stated_maximum_c is not None and one.stated_maximum_c > usual:
            yield Finding(
                "sheath",
                "caution",
                f"{_named(one)} is stated to stand {degrees(one.stated_maximum_c)}; "
                f"usual for this sheath is {degrees(usual)} ({rule}).",
                "Compare with its papers before you trust the higher figure.",
                value=degrees(one.stated_maximum_c),
                limit=degrees(usual),
                set_by=rule,
            )
        yield from _material(run, one, top)


def _material(run: RunPlan, one: Thermometer, top: float) -> Iterator[Finding]:
    if one.sheath == "stainless_steel" and top > STAINLESS_CAUTION_C:
        sentence = "Guides disagree on stainless steel: laboratories stop between 420 °C and 450 °C."
        yield Finding(
            "sheath", "caution", f"{_named(one)} goes to {degrees(top)}. {sentence}", "Expect more drift."
        )
    if one.sheath == "nickel_chromium" and top > METAL_VAPOUR_C:
        sentence = "above about 450 °C metal vapour from the sheath may reach bare platinum (from memory)."
        yield Finding(
            "sheath", "caution", f"{_named(one)} goes to {degrees(top)}; {sentence}", "Watch its zero."
        )
    silica, in_bore = one.sheath in _SILICA, run.bench.heat_source.kind != "stirred_bath"
    if silica and in_bore and top > METAL_VAPOUR_C:
        sentence = (
            "silica is not put into a bare metal block above 450 °C: metal wanders into it (from memory)."
        )
        yield Finding(
            "sheath", "caution", f"{_named(one)}: {sentence}", "Use a ceramic or silica liner, and wipe it."
        )


def _refusal(run: RunPlan, limit: Limit, over: list[Step]) -> Finding:
    worst = max(over, key=lambda step: reach_c(run, step))
    reach, beyond = degrees(reach_c(run, worst)), run.bench.heat_source.beyond_k(worst.ramp_k_per_min)
    swing = run.bench.heat_source.overshoot_allowance_k
    others = [named(step) for step in over if step is not worst]
    also = f" {listed(others)} would be too hot as well." if others else ""
    take_out = " or take the probe out" if limit.owner.startswith("probe ") else ""
    return Finding(
        "too hot",
        "refused",
        f"{named(worst)} would reach up to {reach} in the {run.bench.heat_source.spoken} "
        f"({swing:g} K overshoot, {beyond - swing:.0f} K coasting). {_capital(limit.owner)} "
        f"({limit.rule}) may see {degrees(limit.value)} at most.{also}",
        f"Lower the point to {degrees(math.floor(limit.value - beyond))}{take_out}.",
        value=reach,
        limit=degrees(limit.value),
        set_by=f"{limit.owner}: {limit.rule}",
    )


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def _margin(run: RunPlan, steps: tuple[Step, ...]) -> Finding:
    reach, tightest = max(reach_c(run, step) for step in steps), run.rating.highest
    return Finding(
        "too hot",
        "info",
        f"The hottest point can reach {degrees(reach)}; the tightest limit is {degrees(tightest.value)}, "
        f"set by {tightest.owner} ({tightest.rule}).",
        value=degrees(reach),
        limit=degrees(tightest.value),
        set_by=f"{tightest.owner}: {tightest.rule}",
    )


def _named(one: Thermometer) -> str:
    return f"Probe {one.serial} ({SHEATH_NAMES[one.sheath]})"
