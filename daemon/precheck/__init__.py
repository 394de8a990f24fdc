"""Everything that can be judged before heat: what is refused, what needs care, what was found good.

A simulated bench is judged exactly like a real one.
"""

from __future__ import annotations

from datetime import date

from daemon.precheck.catalogue import CHECKS
from daemon.precheck.findings import Finding, PrecheckReport
from drivers.clock import Clock
from plans.run_plan import RunPlan

__all__ = ["Finding", "PrecheckReport", "day_of_start", "precheck"]

_ORDER = {"refused": 0, "caution": 1, "info": 2}


def day_of_start(run: RunPlan, clock: Clock) -> date:
    """The day by which due dates are judged: today, and on a simulated bench the simulation's own."""
    simulation = run.bench.simulation
    return (clock.utc() if simulation is None else simulation.start_utc).date()


def precheck(run: RunPlan, today: date) -> PrecheckReport:
    """Judge a plan that would start `today`."""
    found = [finding for check in CHECKS for finding in check.judge(run, today)]
    found.sort(key=lambda finding: _ORDER[finding.severity])
    return PrecheckReport(tuple(found))
