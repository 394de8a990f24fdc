"""What one journal entry is, and how it is chained to the one before."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

FORMAT_VERSION = 4
_JSON = json.JSONEncoder(separators=(",", ":"), ensure_ascii=False, allow_nan=False)

FIRST_LINK = bytes(32)
"""What the first entry is chained to."""


class Kind(StrEnum):
    """The kinds of entry, in the order a night meets them."""

    OPENED = "opened"
    STATE = "state"
    ACTION = "action"
    OBSERVATION = "observation"
    VERDICT = "verdict"
    CLEARED = "cleared"
    MILESTONE = "milestone"
    OPERATOR = "operator"
    INTERRUPTION = "interruption"
    CLOSED = "closed"
    REVIEW = "review"


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the record: monotonic time `when_s` and UTC `utc_s`, both in seconds."""

    seq: int
    kind: str
    when_s: float
    utc_s: float
    body: Mapping[str, Any]

    @property
    def utc(self) -> datetime:
        """UTC stamp as a datetime."""
        return datetime.fromtimestamp(self.utc_s, UTC)


def encode(body: Mapping[str, Any]) -> str:
    """Body as compact JSON text; floats keep their shortest exact form, NaN is refused."""
    return _JSON.encode(body)


def link(previous: bytes, seq: int, kind: str, when_s: float, utc_s: float, text: str) -> bytes:
    """SHA-256 over the previous link and everything in this entry."""
    head = f"{seq}|{kind}|{when_s!r}|{utc_s!r}|{len(text)}|"
    return hashlib.sha256(previous + (head + text).encode()).digest()
