"""Points too cold: for a probe, the source or the fluid, and for thermometers that are not dry and sealed."""

from __future__ import annotations

import math
from collections.abc import Iterator

from daemon.precheck.findings import Finding, degrees, listed, named
from plans.rating import Limit
from plans.run_plan import RunPlan
from plans.unroll import Step, measuring_steps

CRYOGEN_BELOW_C = -80.0  # common practice, no source


def too_cold(run: RunPlan) -> Iterator[Finding]:
    """One refusal for each thing that would get too cold, a caution where only the swing would."""
    steps = measuring_steps(run)
    swing_k = run.bench.heat_source.overshoot_allowance_k
    for limit in run.rating.lowest_of:
        under = [step for step in steps if not step.temperature_c >= limit.value]
        near = [step for step in steps if limit.value <= step.temperature_c < limit.value + swing_k]
        if under:
            yield _refusal(limit, under)
        if near:
            yield _caution(limit, near, swing_k)


def _refusal(limit: Limit, under: list[Step]) -> Finding:
    return Finding(
        "too cold",
        "refused",
        f"{listed([named(step) for step in under])}: {limit.owner} ({limit.rule}) "
        f"may not go below {degrees(limit.value)}.",
        f"Raise to {degrees(math.ceil(limit.value))} or warmer, or change what sets the limit.",
        value=degrees(min(step.temperature_c for step in under)),
        limit=degrees(limit.value),
        set_by=f"{limit.owner}: {limit.rule}",
    )


def _caution(limit: Limit, near: list[Step], swing_k: float) -> Finding:
    return Finding(
        "too cold",
        "caution",
        f"{listed([named(step) for step in near])}: the source may swing {swing_k:g} K below, and "
        f"{limit.owner} ({limit.rule}) may not go below {degrees(limit.value)}; the run would then be held.",
        "Approach slowly, or leave that thermometer out.",
        value=degrees(min(step.temperature_c for step in near) - swing_k),
        limit=degrees(limit.value),
        set_by=f"{limit.owner}: {limit.rule}",
    )


def moisture(run: RunPlan) -> Iterator[Finding]:
    """Below 0 °C water freezes in wells and in probes that are not sealed."""
    coldest = min(run.visited_c)
    if not coldest < 0.0:
        return
    for one in run.thermometers:
        if not one.dry_sealed:
            yield Finding(
                "moisture",
                "refused",
                f"The run goes to {degrees(coldest)} and probe {one.serial} is not marked dry and sealed: "
                "moisture inside would freeze and read false.",
                "Dry and seal it and set dry_sealed = true in the register, or take it out.",
                value=degrees(coldest),
                limit="0 °C",
                set_by=f"register, probe {one.serial}",
            )
    yield Finding(
        "moisture",
        "caution",
        f"The run goes to {degrees(coldest)}: water condenses and freezes in wells and around the sheaths; "
        "ice jams probes and can burst them.",
        "Purge or dry wells and bores before crossing 0 °C and wipe every sheath.",
    )


def cryogen(run: RunPlan) -> Iterator[Finding]:
    """What very cold sources do to people."""
    if min(run.visited_c) < CRYOGEN_BELOW_C:
        yield Finding(
            "cryogen",
            "caution",
            "This cold comes from a cryogen or its like: its gas suffocates without warning, "
            "its cold burns skin, and closed vessels burst.",
            "Ventilate, carry an oxygen alarm (19.5 %) that can be read from outside, never seal a vessel.",
        )
