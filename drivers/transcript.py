"""Every byte on the wires of a bench, one JSON line an event, for whoever looks for a bad cable afterwards.

Nothing depends on it: it is written by a thread of its own, and what the disk refuses is left out.
"""

from __future__ import annotations

import json
import os
import queue
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from drivers.clock import Clock
from drivers.errors import BadProfile
from drivers.link_events import Event, Recorded, Transcript

SYNC_EVERY_S, LEAVE_S = 1.0, 5.0
_Stamped = tuple[float, Recorded]


@contextmanager
def written_to(path: Path, clock: Clock) -> Iterator[Transcript]:
    """A transcript that is appended to `path`; whole once the block is left. Raises OSError on opening."""
    events: queue.SimpleQueue[_Stamped | None] = queue.SimpleQueue()
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a", encoding="ascii", newline="\n") as file:
        writer = threading.Thread(target=_write, args=(events, file), name="transcript", daemon=True)
        writer.start()
        try:
            yield lambda event: events.put((clock.utc_s(), event))
        finally:
            events.put(None)
            writer.join(LEAVE_S)


def read_transcript(path: Path, link: str) -> Sequence[Recorded]:
    """What was written of one link, in order; raises BadProfile for a file that is no transcript."""
    found = []
    for number, line in enumerate(path.read_text("ascii").splitlines(), 1):
        try:
            told = json.loads(line)
            event = Event(told["event"])
            if told["link"] == link:
                data = str(told["bytes"]).encode("latin-1")
                found.append((float(told["s"]), link, event, data, str(told["note"])))
        except (ValueError, KeyError, TypeError) as error:
            raise BadProfile(f"{path.name}, line {number}: is not of a transcript: {error}") from error
    return found


def _write(events: queue.SimpleQueue[_Stamped | None], file: IO[str]) -> None:
    """Flushed whenever nothing more waits; synced about once a second."""
    synced_s = float("-inf")
    while (stamped := events.get()) is not None:
        with suppress(OSError, ValueError):  # ValueError: closed, as the disk did not come back in time
            file.write(_line(*stamped))
            if events.empty():
                file.flush()
            if not stamped[0] - synced_s < SYNC_EVERY_S:
                file.flush()
                os.fsync(file.fileno())
                synced_s = stamped[0]


def _line(utc_s: float, recorded: Recorded) -> str:
    when_s, link, event, data, note = recorded
    told = {"utc_s": round(utc_s, 6), "s": round(when_s, 6), "link": link, "event": str(event)}
    return json.dumps(told | {"bytes": data.decode("latin-1"), "note": note}) + "\n"
