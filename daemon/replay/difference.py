"""Where the record and today's program part: what was decided then, and what is decided now."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from daemon.journal.entry import Entry, Kind, encode

CHANGED, MISSING, NEW = "changed", "missing", "new"


@dataclass(frozen=True, slots=True)
class Difference:
    """One difference; `seq` is the first recorded entry behind it, `since_start_s` counts from the first.

    `what` is changed, missing (decided then, not now) or new (decided now, not then). `parts` is true when
    the run itself goes another way from here: what was recorded afterwards is no answer to it any more.
    """

    seq: int
    what: str
    parts: bool
    since_start_s: float
    utc_s: float
    recorded: str
    now: str
    before: tuple[str, ...] = ()
    after: tuple[str, ...] = ()


def told(kind: str, body: Mapping[str, Any]) -> str:
    """A decision as people read it, exact enough to see every digit that differs."""
    match kind:
        case Kind.OPENED:
            return f"opened by ohmvigil {body['program']}"
        case Kind.STATE:
            return f"state {body['from']} → {body['to']}: {body['cause']}"
        case Kind.VERDICT:
            place = f", channel {body['channel']}" if body["channel"] else ""
            return f"guard {body['guard']}{place} says {body['reaction']}: {body['sentence']}"
        case Kind.CLEARED:
            return f"guard {body['guard']} has cleared"
        case Kind.MILESTONE:
            return f"mark {body['mark']} {_rest(body, 'mark', 'by')}".rstrip()
        case Kind.ACTION:
            return f"action {body['do']} {_rest(body, 'do', 'by')}".rstrip()
        case Kind.OPERATOR:
            return f"{body['who']} said {body['word']}"
    return f"{kind} {encode(body)}"


def told_all(entries: Iterable[Entry], start_s: float) -> tuple[str, ...]:
    """Entries with their times after the start."""
    return tuple(f"{since(e.when_s - start_s)}  {told(e.kind, e.body)}" for e in entries)


def since(seconds: float) -> str:
    """A time after the start: 5:00:01.25 (h:mm:ss)."""
    whole, hundredths = divmod(round(100.0 * seconds), 100)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}.{hundredths:02d}"


def _rest(body: Mapping[str, Any], *without: str) -> str:
    rest = {key: value for key, value in body.items() if key not in without}
    return encode(rest) if rest else ""
