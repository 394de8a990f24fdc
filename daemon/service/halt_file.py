"""Halting by a file, for whoever has nothing but a shell: `touch <lab>.state/<bench>.halt`."""

from __future__ import annotations

from pathlib import Path

from daemon.service.child import NoAnswer
from daemon.service.keeper import Keeper
from daemon.service.log import note
from drivers.clock import Clock

INTERVAL_S = 0.5


class HaltFile:
    """Looks for one bench's file; it is taken away once the halt was said."""

    def __init__(self, keeper: Keeper, clock: Clock) -> None:
        self._keeper, self._clock = keeper, clock
        self._path: Path = keeper.place.state / f"{keeper.id}.halt"

    async def run(self) -> None:
        """Until cancelled."""
        while True:
            if self._path.exists():
                await self._halt()
            await self._clock.sleep(INTERVAL_S)

    async def _halt(self) -> None:
        try:
            await self._keeper.word("halt", "somebody", f"the file {self._path.name} was there")
            self._path.unlink(missing_ok=True)
        except (NoAnswer, OSError) as error:
            note("a halt by file", bench=self._keeper.id, error=str(error))
