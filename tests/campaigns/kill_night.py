"""A night in simulated time whose record is written as a real one is: by a thread, synced, acknowledged.

python -m tests.campaigns.kill_night PLAN RECORD ACKNOWLEDGED

Before the night goes on behind a commit, the number of the newest committed entry stands in the file
ACKNOWLEDGED. Somebody else kills this process.
"""

from __future__ import annotations

import asyncio
import os
import sqlite3
import sys
from pathlib import Path
from typing import cast

from daemon.journal import journal
from daemon.journal.sinks import ThreadSink
from daemon.journal.store import Row
from daemon.night import Bench, run_night
from daemon.rehearsal import make_scene, simulation_of
from drivers.clock import Clock
from plans.loading import load_plan
from simulators import virtual_time

WIDTH = 12


class AcknowledgingSink(ThreadSink):
    """The real writer; simulated time stands still while it writes, and what it promised is noted."""

    def __init__(self, connection: sqlite3.Connection, reserve: Path | None = None) -> None:
        super().__init__(connection, reserve)
        self._newest = 0
        self._noted = os.open(sys.argv[3], os.O_WRONLY | os.O_CREAT)

    def put(self, row: Row) -> None:
        """As the writer's."""
        self._newest = row[0]
        super().put(row)

    async def committed(self) -> None:
        """As the writer's; then the number is noted."""
        newest = self._newest
        with cast(virtual_time.VirtualTimeLoop, asyncio.get_running_loop()).outside():
            await super().committed()
        os.pwrite(self._noted, f"{newest:{WIDTH}d}".encode(), 0)


def main() -> None:
    """Run the night to its end."""
    run = load_plan(Path(sys.argv[1]))
    scene = make_scene(run)
    far_ends = {name: scene.instrument(name) for name in ("source", "bridge")}
    bench = Bench(Clock(simulation_of(run).start_utc), far_ends, simulated=False)
    journal.ThreadSink = AcknowledgingSink  # type: ignore[misc]
    virtual_time.run(run_night(run, Path(sys.argv[2]), bench))


if __name__ == "__main__":
    main()
