"""Everything that can be judged before heat: what is refused, what needs care, what was found good.

A simulated bench is judged exactly like a real one.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from daemon.precheck.abilities import abilities
from daemon.precheck.calibrations import calibrations
from daemon.precheck.cold import cryogen, moisture, too_cold
from daemon.precheck.cut_out import cut_out
from daemon.precheck.findings import Finding, PrecheckReport
from daemon.precheck.fluid import fluid
from daemon.precheck.guardian import guardian
from daemon.precheck.head import heads
from daemon.precheck.heat import metals, too_hot
from daemon.precheck.immersion import immersion
from daemon.precheck.inspections import inspections
from daemon.precheck.quality import length, quality
from daemon.precheck.rates import rates, shock
from daemon.precheck.standing import standing
from daemon.timetable import forecast
from plans.run_plan import RunPlan

__all__ = ["Finding", "PrecheckReport", "precheck"]

_ORDER = {"refused": 0, "caution": 1, "info": 2}


def precheck(run: RunPlan, today: date | None = None) -> PrecheckReport:
    """Judge a plan; `today` is the day of the start, on a simulated bench the simulation's own when None."""
    if today is None and run.bench.simulation is not None:
        today = run.bench.simulation.start_utc.date()
    found = sorted(_all(run, today), key=lambda finding: _ORDER[finding.severity])
    return PrecheckReport(tuple(found))


def _all(run: RunPlan, today: date | None) -> Iterator[Finding]:
    total_s = forecast(run).total_s
    for check in (too_hot, too_cold, rates, shock, heads, moisture, fluid):
        yield from check(run)
    yield from cut_out(run, today)
    yield from calibrations(run, today, total_s)
    yield from length(total_s)
    for check in (immersion, inspections, metals, cryogen, quality, guardian, abilities, standing):
        yield from check(run)
