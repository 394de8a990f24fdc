"""What the pages need of the daemon, handed in from outside: they reach no instrument and no executor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from daemon.web.live_record import LiveRecord


@dataclass(frozen=True)
class BenchView:
    """A bench at this moment. `quiet_s`: since its record last grew; `live`: None before anything has run."""

    id: str
    name: str
    simulated: bool
    standing: str
    sentence: str
    busy: bool
    calls: str
    quiet_s: float
    waiting: list[str]
    live: LiveRecord | None


class Lab(Protocol):
    """The daemon as the pages see it."""

    name: str

    @property
    def benches(self) -> list[BenchView]:
        """All benches."""

    def bench(self, id_: str) -> BenchView | None:
        """One bench; None when there is none of that id."""

    async def halt(self, id_: str, who: str, reason: str) -> str:
        """Park the source; a sentence when that could not be said, else nothing."""

    def utc_s(self) -> float:
        """UTC now, s since 1970."""
