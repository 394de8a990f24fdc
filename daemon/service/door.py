"""What the pages are given of the daemon: reading, and one word."""

from __future__ import annotations

from daemon.service.child import NoAnswer
from daemon.service.lab_service import LabService
from daemon.service.now import calls
from daemon.web.view import BenchView


class Door:
    """Implements `daemon.web.view.Lab`: the pages can look, and say halt, and nothing else."""

    def __init__(self, service: LabService) -> None:
        self._service = service
        self.name = service.lab.lab.header.name

    @property
    def benches(self) -> list[BenchView]:
        """All benches."""
        return [self._view(id_) for id_ in self._service.keepers]

    def bench(self, id_: str) -> BenchView | None:
        """One bench; None when there is none of that id."""
        return self._view(id_) if id_ in self._service.keepers else None

    async def halt(self, id_: str, who: str, reason: str) -> str:
        """Park the source; a sentence when that could not be said, else nothing."""
        try:
            await self._service.keepers[id_].word("halt", who, reason)
        except NoAnswer as error:
            return str(error)
        return ""

    def utc_s(self) -> float:
        """UTC now, s since 1970."""
        return self._service.clock.utc_s()

    def _view(self, id_: str) -> BenchView:
        keeper, follower = self._service.keepers[id_], self._service.followers[id_]
        return BenchView(
            id=id_,
            name=keeper.bench.name,
            simulated=keeper.bench.simulation is not None,
            standing=str(keeper.standing),
            sentence=keeper.sentence,
            busy=keeper.busy,
            calls=calls(keeper, follower.live),
            quiet_s=follower.quiet_s(),
            waiting=[f"{run.number}: {run.title}, by {run.who}" for run in keeper.queue.runs],
            live=follower.live,
        )
