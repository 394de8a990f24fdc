"""Whether a guardian can park this source when the program dies, and what follows when it cannot."""

from __future__ import annotations

from collections.abc import Iterator

from daemon.guardian.path import guardian_path
from daemon.precheck.findings import Finding
from plans.run_plan import RunPlan


def guardian(run: RunPlan) -> Iterator[Finding]:
    """Without a guardian, heat above the parking temperature is only for a person who stays."""
    if run.bench.simulation is not None:
        return
    why_not = guardian_path(run)
    if why_not is None:
        yield Finding(
            "guardian", "info", "A guardian of its own process can park this source, and is drilled."
        )
    elif max(run.visited_c) > run.parking_c:
        yield Finding(
            "guardian",
            "caution",
            f"No guardian can park this source when the program dies: {why_not}.",
            "Unattended heat above the parking temperature is refused; somebody must promise to stay.",
        )
