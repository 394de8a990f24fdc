"""Reads what a bench writes into its record, a second at a time: the only source of everything shown."""

from __future__ import annotations

import asyncio
from pathlib import Path

from daemon.journal.read import RecordError
from daemon.service.keeper import Keeper
from daemon.service.log import note
from daemon.web.live_record import LiveRecord
from drivers.clock import Clock

INTERVAL_S = 0.5


class Follower:
    """Follows the record of a bench; `live` is None as long as nothing has run."""

    def __init__(self, keeper: Keeper, clock: Clock) -> None:
        self._keeper = keeper
        self._clock = clock
        self._moved_s = 0.0
        self._problem = ""
        self.live: LiveRecord | None = None

    def quiet_s(self) -> float:
        """Seconds since the last new entry, by this machine's clock."""
        return self._clock.monotonic_s() - self._moved_s

    async def run(self) -> None:
        """Until cancelled; a record that cannot be read is said once and tried again."""
        self._moved_s = self._clock.monotonic_s()
        while True:
            try:
                await self._look()
            except Exception as error:  # noqa: BLE001  a picture that cannot be drawn must not stop the rest
                self._tell(f"reading on broke ({error!r})")
            await self._clock.sleep(INTERVAL_S)

    async def _look(self) -> None:
        record = self._keeper.record
        if record is None or not record.exists():
            return
        live = self._of(record)
        try:
            while await asyncio.to_thread(live.catch_up):
                self._moved_s = self._clock.monotonic_s()
            self._problem = ""
        except RecordError as error:
            # The very first look may come before the record's tables are made.
            self._tell(str(error))
        self.live = live

    def _of(self, record: Path) -> LiveRecord:
        if self.live is not None and self.live.path == record:
            return self.live
        return LiveRecord(record)

    def _tell(self, problem: str) -> None:
        if problem != self._problem:
            note("a record cannot be read", bench=self._keeper.id, problem=problem)
        self._problem = problem
