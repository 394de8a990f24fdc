"""Where a bench's files lie, and the words for what it is doing."""

from __future__ import annotations

import fcntl
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from daemon.service.recovery import SUFFIX


class Standing(StrEnum):
    """What a bench is doing, as the daemon sees it."""

    FREE = "free"
    RUNNING = "running"
    RECOVERING = "recovering"
    NEEDS_ARMING = "needs arming"
    NEEDS_PERSON = "needs a person"
    OCCUPIED = "occupied"
    BROKEN = "broken"


@dataclass(frozen=True)
class Place:
    """Where a bench's files lie."""

    records: Path
    state: Path
    id: str

    @property
    def lock(self) -> Path:
        """Held by the process that runs the bench, whoever started it."""
        return self.state / f"{self.id}.lock"

    @property
    def unsettled(self) -> Path:
        """Names the record of a run that has not come to a good end, until a person has acknowledged that."""
        return self.state / f"{self.id}.unsettled"

    def free(self) -> bool:
        """Whether no process runs this bench."""
        with self.lock.open("w", encoding="ascii") as file:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                return False
            return True

    def free_record(self, stem: str) -> Path:
        """A record file that does not exist yet."""
        path, number = self.records / f"{stem}{SUFFIX}", 1
        while path.exists():
            number += 1
            path = self.records / f"{stem}-{number}{SUFFIX}"
        return path
