"""What the daemon tells the process of a bench, and what that answers: JSON lines over its pipes."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass(frozen=True)
class Order:
    """The first line to a bench's process: which run, into which record.

    `gap_s` is None for a new run, else the seconds in which nobody watched. `outbox` and `mqtt` belong
    together; `commands`: hold and halt are taken by MQTT. `said` are operator entries from before the start.
    """

    plan: str
    bench: str
    register: str
    record: str
    lock: str
    pace: float
    gap_s: float | None = None
    mqtt: str = ""
    commands: bool = False
    outbox: str = ""
    said: list[dict[str, Any]] = field(default_factory=list)

    def line(self) -> str:
        """As one line of JSON."""
        return json.dumps(asdict(self), ensure_ascii=False)


def order_of(line: str) -> Order:
    """The order of a line; raises ValueError, TypeError."""
    return Order(**json.loads(line))


@dataclass(frozen=True)
class Ending:
    """The last line of a bench's process: how the run ended, in words.

    `good` only when the plan was done to its end; `begun` is False when nothing was heated.
    """

    begun: bool
    good: bool
    state: str
    sentence: str
    summary: list[str] = field(default_factory=list)
    head: str = ""
