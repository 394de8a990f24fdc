"""Whether certificates are in date to the end of the run, and whether they reach over every point."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date, timedelta

from daemon.precheck.findings import Finding, degrees
from plans.run_plan import RunPlan

SOON_DAYS = 30
_DAY_S = 86400.0


def calibrations(run: RunPlan, today: date, total_s: float) -> Iterator[Finding]:
    """Reference, bridge and reference resistor."""
    yield from _reference_range(run)
    bridge = run.bench.bridge
    dues = {
        **{
            f"reference {one.serial}": one.calibration.due if one.calibration else None
            for one in run.references
        },
        "bridge": bridge.calibration_due,
        "reference resistor": bridge.resistor_due,
    }
    for name, due in dues.items():
        yield from _due(name, due, today, total_s)


def last_day(day_utc: date, total_s: float) -> date:
    """The latest day on which a run begun on `day_utc` can end, however late, in any time zone."""
    return day_utc + timedelta(days=1 + math.ceil(total_s / _DAY_S))


def _due(name: str, due: date | None, today: date, total_s: float) -> Iterator[Finding]:
    if due is None:
        sentence = f"No due date is on file for the {name}: its traceability cannot be shown."
        yield Finding(
            "due dates", "caution", sentence, "Enter the date from its certificate in the bench file."
        )
        return
    end = last_day(today, total_s)
    if not due >= end:
        yield Finding(
            "due dates",
            "refused",
            f"The calibration of the {name} is due on {due.isoformat()}; "
            f"the run may last until {end.isoformat()}.",
            "Have it calibrated, or take another one that is in date.",
            value=due.isoformat(),
            limit=end.isoformat(),
            set_by="ISO/IEC 17025, metrological traceability",
        )
    elif due < end + timedelta(days=SOON_DAYS):
        sentence = f"The calibration of the {name} is due soon, on {due.isoformat()}."
        yield Finding("due dates", "caution", sentence, "Plan its calibration.")


def _reference_range(run: RunPlan) -> Iterator[Finding]:
    for one in run.references:
        calibration = one.calibration
        if calibration is None:
            continue
        yield Finding(
            "reference",
            "info",
            f"Reference {one.serial} (certificate {calibration.certificate}) is calibrated from "
            f"{degrees(calibration.minimum_c)} to {degrees(calibration.maximum_c)} and covers every point; "
            f"U = {calibration.expanded_uncertainty_mk:g} mK (k = {calibration.coverage_factor:g}).",
        )
