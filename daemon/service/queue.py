"""The runs that wait for a bench, kept on the disk over a restart."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path

MOST_RUNS = 50


class QueueError(Exception):
    """The queue cannot be read or takes no more; the message says why."""


@dataclass(frozen=True, slots=True)
class QueuedRun:
    """A plan as it was when it was submitted: its three texts, so that a later edit changes nothing."""

    number: int
    plan: str
    title: str
    who: str
    submitted_utc: str
    plan_text: str
    bench_text: str
    register_text: str


class RunQueue:
    """First come, first served; every change is on the disk before it is answered."""

    def __init__(self, path: Path) -> None:
        """Read what waited before; raises QueueError."""
        self._path = path
        self._next, self.runs = _read(path)

    def add(self, *texts: str, plan: str, title: str, who: str, submitted_utc: str) -> QueuedRun:
        """Put a run (plan, bench and register text) at the end; raises QueueError, OSError."""
        if len(self.runs) >= MOST_RUNS:
            raise QueueError(f"{MOST_RUNS} runs wait already: withdraw some of them first.")
        run = QueuedRun(self._next, plan, title, who, submitted_utc, *texts)
        self._keep([*self.runs, run], self._next + 1)
        return run

    def take(self) -> QueuedRun:
        """The first run, no longer waiting; raises IndexError, OSError."""
        first = self.runs[0]
        self._keep(self.runs[1:], self._next)
        return first

    def withdraw(self, number: int) -> bool:
        """Take a run out; False when it does not wait."""
        rest = [run for run in self.runs if run.number != number]
        found = len(rest) < len(self.runs)
        if found:
            self._keep(rest, self._next)
        return found

    def _keep(self, runs: list[QueuedRun], following: int) -> None:
        text = json.dumps({"next": following, "runs": [asdict(run) for run in runs]}, ensure_ascii=False)
        beside = self._path.with_suffix(".new")
        with beside.open("w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(self._path)
        self.runs, self._next = runs, following


def _read(path: Path) -> tuple[int, list[QueuedRun]]:
    if not path.exists():
        return 1, []
    try:
        tree = json.loads(path.read_text(encoding="utf-8"))
        return int(tree["next"]), [QueuedRun(**run) for run in tree["runs"]]
    except (ValueError, KeyError, TypeError, OverflowError, RecursionError) as error:
        raise QueueError(
            f"{path} is damaged ({error}): move it away; its runs must be submitted anew."
        ) from None
