"""Looks every second whether a bench calls for a person, and says in the morning how a run ended."""

from __future__ import annotations

from daemon.notices.caller import Caller
from daemon.service.keeper import Keeper
from daemon.service.lab_service import LabService
from daemon.service.log import note
from daemon.service.now import calls
from daemon.service.orders import Ending

INTERVAL_S = 1.0


class Calling:
    """Between the benches and the caller."""

    def __init__(self, service: LabService, caller: Caller) -> None:
        self._service, self._caller = service, caller
        self._told: dict[str, Ending | None] = {}

    async def run(self) -> None:
        """Until cancelled."""
        while True:
            try:
                self.look()
            except Exception as error:  # noqa: BLE001  calling must go on for the other benches
                note("looking whether to call broke", error=repr(error))
            await self._service.clock.sleep(INTERVAL_S)

    def look(self) -> None:
        """One look at every bench."""
        now_s = self._service.clock.monotonic_s()
        for id_, keeper in self._service.keepers.items():
            self._caller.look(id_, calls(keeper, self._service.followers[id_].live), now_s)
            if keeper.ending is not None and keeper.ending is not self._told.get(id_):
                self._caller.message(*_summary(keeper, keeper.ending))
            self._told[id_] = keeper.ending


def _summary(keeper: Keeper, ending: Ending) -> tuple[str, str]:
    """Title and text of what is read first in the morning."""
    title = f"{keeper.bench.name}: {ending.state or 'broken off'}"
    record = keeper.record.name if keeper.record else ""
    lines = [keeper.title, ending.sentence, "", *ending.summary, "", f"record {record}, head {ending.head}"]
    return title, "\n".join(lines)
