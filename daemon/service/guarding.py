"""The guardian of a real bench under the daemon: without one nothing is heated, since nobody is there."""

from __future__ import annotations

from pathlib import Path

from daemon.guardian.keeper import GuardianFailed, Keeper, spawned
from daemon.guardian.path import guardian_path, orders_of
from plans.run_plan import RunPlan


def guardian_of(run: RunPlan, record: Path, *, drill: bool) -> Keeper:
    """A guardian that has parked the cold source once (`drill`); raises GuardianFailed.

    A source that may be hot is not drilled.
    """
    why_not = guardian_path(run)
    if why_not is not None:
        raise GuardianFailed(f"nobody would park this bench if the daemon died: {why_not}")
    keeper = Keeper(orders_of(run, record), spawned)
    if drill:
        try:
            keeper.drill()
        except GuardianFailed:
            keeper.disarm()
            raise
    return keeper
