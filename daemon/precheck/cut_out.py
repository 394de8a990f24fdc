"""The independent over-temperature cut-out: present, set right, proved lately."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date

from daemon.precheck.findings import Finding, degrees
from plans.rating import Limit
from plans.run_plan import RunPlan
from plans.source import CutOut

NEEDED_ABOVE_C = 100.0  # common practice, no source: without one only attended runs above
CLEAR_OF_TOP_K = 10.0  # common practice, no source: closer it would trip in the night
ABOVE_LIMIT_K = 15.0  # common practice, no source: 20 K above a limit already lowered by 5 K
OLDEST_DAYS = 366  # common practice, no source: twelve months


def cut_out(run: RunPlan, today: date) -> Iterator[Finding]:
    """Refused when absent for hot work, set wrongly or not proved within a year."""
    fitted = run.bench.heat_source.cut_out
    if fitted is None:
        yield _absent(max(run.visited_c))
        return
    yield from _setting(run, fitted)
    yield from _age(fitted, today)


def _absent(top: float) -> Finding:
    hot = top > NEEDED_ABOVE_C
    return Finding(
        "cut-out",
        "refused" if hot else "caution",
        f"No independent over-temperature cut-out is named, and the run goes to "
        f"{degrees(top)}. Software cannot stop a heater whose relay has welded.",
        "Fit one (its own sensor, its own contactor, reset by hand), set it, let it trip once, and enter "
        "[heat_source.cut_out] setting_c and tested_on.",
        value="none",
        limit=f"needed above {degrees(NEEDED_ABOVE_C)}",
        set_by="common practice",
    )


def _setting(run: RunPlan, fitted: CutOut) -> Iterator[Finding]:
    top, harmed = max(run.visited_c), _first_harmed(run)
    if not fitted.setting_c >= top + CLEAR_OF_TOP_K:
        yield _wrong(
            "refused",
            fitted,
            f"is less than {CLEAR_OF_TOP_K:g} K above the hottest point ({degrees(top)}); it "
            "would trip in the night",
            _remedy(top, harmed),
            Limit("the plan", top + CLEAR_OF_TOP_K, "hottest point plus 10 K"),
        )
    if not fitted.setting_c <= harmed.value:
        far = not fitted.setting_c <= harmed.value + ABOVE_LIMIT_K
        yield _wrong(
            "refused" if far else "caution",
            fitted,
            f"lets {harmed.owner} go past its {degrees(harmed.value)} ({harmed.rule}) before it trips",
            _remedy(top, harmed),
            harmed,
        )


def _age(fitted: CutOut, today: date) -> Iterator[Finding]:
    age = (today - fitted.tested_on).days
    if not 0 <= age <= OLDEST_DAYS:
        when = f"{age} days ago" if age >= 0 else "on a day that is still to come"
        yield Finding(
            "cut-out",
            "refused",
            f"The cut-out was last seen to trip {when} ({fitted.tested_on.isoformat()}); "
            "twelve months is the most.",
            "Let it trip once under supervision and enter the day.",
            value=fitted.tested_on.isoformat(),
            limit="12 months",
            set_by="common practice",
        )


def _remedy(top: float, harmed: Limit) -> str:
    if top + CLEAR_OF_TOP_K <= harmed.value:
        between = f"between {degrees(top + CLEAR_OF_TOP_K)} and {degrees(harmed.value)}"
        return f"Set it {between}, on the cut-out itself, then correct the bench file."
    lower = degrees(math.floor(harmed.value - CLEAR_OF_TOP_K))
    return f"Leave the cut-out below {degrees(harmed.value)} and lower the hottest point to {lower}."


def _first_harmed(run: RunPlan) -> Limit:
    others = [] if run.bench.fluid is None else [run.bench.fluid.maximum]
    return min([*(one.maximum for one in run.thermometers), *others], key=lambda limit: limit.value)


def _wrong(severity: str, fitted: CutOut, why: str, remedy: str, limit: Limit) -> Finding:
    return Finding(
        "cut-out",
        "refused" if severity == "refused" else "caution",
        f"The over-temperature cut-out is set to {degrees(fitted.setting_c)}; that {why}.",
        remedy,
        value=degrees(fitted.setting_c),
        limit=degrees(limit.value),
        set_by=f"{limit.owner}: {limit.rule}",
    )
