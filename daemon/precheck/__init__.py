"""Everything that can be judged before heat: what is refused, what needs care, what was found good.

A simulated bench is judged exactly like a real one.
"""

from __future__ import annotations

from datetime import date

from daemon.precheck.catalogue import CHECKS
from daemon.precheck.findings import Finding, PrecheckReport
from plans.run_plan import RunPlan

__all__ = ["Finding", "PrecheckReport", "precheck"]

_ORDER = {"refused": 0, "caution": 1, "info": 2}


def precheck(run: RunPlan, today: date | None = None) -> PrecheckReport:
    """Judge a plan; `today` is the day of the start, on a simulated bench the simulation's own when None."""
    if today is None and run.bench.simulation is not None:
        today = run.bench.simulation.start_utc.date()
    found = [finding for check in CHECKS for finding in check.judge(run, today)]
    found.sort(key=lambda finding: _ORDER[finding.severity])
    return PrecheckReport(tuple(found))
