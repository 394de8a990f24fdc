"""Heads, handles and cables: how warm they get above a hot source."""

from __future__ import annotations

import math
from collections.abc import Iterator

from daemon.precheck.findings import Finding, degrees
from daemon.precheck.heat import reach_c
from plans.probe import Thermometer
from plans.run_plan import RunPlan
from plans.unroll import measuring_steps

STEM_DECAY_MM = 60.0  # common practice, no source: warm air over the source counted in
MARGIN_K = 10.0  # common practice, no source
SHIELD_ABOVE_C = 150.0  # common practice, no source
SHIELD_BELOW_C = -40.0  # common practice, no source
SENSOR_ABOVE_C = 300.0  # common practice, no source


def head_estimate_c(run: RunPlan, one: Thermometer, source_c: float) -> float:
    """Head temperature in °C: the excess over the room falls by 1/e for every 60 mm of free stem."""
    free_mm = one.length_below_handle_mm - run.immersion_mm(one.serial)
    return run.bench.ambient_c + (source_c - run.bench.ambient_c) * math.exp(-free_mm / STEM_DECAY_MM)


def heads(run: RunPlan) -> Iterator[Finding]:
    """Refused when a head is estimated too hot or too cold; a shield or a sensor is asked for when near."""
    hottest = max(reach_c(run, step) for step in measuring_steps(run))
    for one in run.thermometers:
        warm, cold = head_estimate_c(run, one, hottest), head_estimate_c(run, one, min(run.visited_c))
        if not warm <= one.head_maximum_c - MARGIN_K:
            yield _refusal(one, warm, one.head_maximum_c, "above")
        if not cold >= one.head_minimum_c:
            yield _refusal(one, cold, one.head_minimum_c, "below")
    yield from _shield(run)


def _refusal(one: Thermometer, estimate_c: float, limit_c: float, side: str) -> Finding:
    return Finding(
        "head",
        "refused",
        f"The head of probe {one.serial} would come to about {degrees(estimate_c)}, {side} what it may see "
        f"({degrees(limit_c)}, with {MARGIN_K:g} K kept clear of the hot end).",
        "Let more stem stand free (smaller immersion_mm), choose a milder point, or take the probe out.",
        value=degrees(estimate_c),
        limit=degrees(limit_c),
        set_by=f"probe {one.serial}: head limit in the register (default −20 °C to 80 °C)",
    )


def _shield(run: RunPlan) -> Iterator[Finding]:
    top, low = max(run.visited_c), min(run.visited_c)
    if top > SHIELD_ABOVE_C or low < SHIELD_BELOW_C:
        extreme = top if top > SHIELD_ABOVE_C else low
        yield Finding(
            "head",
            "caution",
            f"The source goes to {degrees(extreme)}: cements, handles and cables usually fail "
            "before the element does.",
            "Fit a heat shield with a draught gap below the heads; log a head where a channel is free.",
        )
    if top > SENSOR_ABOVE_C and not any(one.head_channel for one in run.thermometers):
        yield Finding(
            "head",
            "caution",
            f"Above {degrees(SENSOR_ABOVE_C)} no head temperature is measured in this run.",
            "Put a thermometer on one head (head_channel in the register), or a fan across them.",
        )
