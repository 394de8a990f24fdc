"""What a link tells about itself: its state, and every byte that passed in either direction."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum


class LinkState(StrEnum):
    """`DIRTY` means that what comes next may be the answer to something else."""

    CLOSED = "closed"
    UP = "up"
    DIRTY = "dirty"
    BACKING_OFF = "backing-off"


class Event(StrEnum):
    """What happened on a link."""

    OPEN = "open"
    SENT = "tx"
    CAME = "rx"
    HALT = "halt"
    TIMEOUT = "timeout"
    STRAY = "stray"
    DISTRUST = "distrust"
    DRAIN = "drain"
    PROVED = "proved"
    CANCELLED = "cancelled"
    LOST = "lost"
    CLOSE = "close"
    NOTE = "note"


Recorded = tuple[float, str, Event, bytes, str]
"""(monotonic seconds, link, event, bytes, note)."""

Transcript = Callable[[Recorded], None]
"""Receives every event; must be quick and must not raise."""
