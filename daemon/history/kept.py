"""What each record of a folder said when it was last evaluated, so that a long history opens at once.

The file may be deleted at any time. What it says of a record counts only while the record has the same last
link, size and time of change, while program, libraries and machine are the same, and while the lines here are
as they were written. A record whose chain does not hold is never evaluated, so nothing of it is kept.
"""

from __future__ import annotations

import hashlib
import json
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from daemon.history.visits import Visit, visits_of
from daemon.journal.entry import encode
from daemon.journal.read import RecordError, outer_links, verify
from daemon.program import this_program
from daemon.results.calibrate import NightResult, calibrate

FILE = "history.cache"
_ABOUT = "what the records beside this file said when last evaluated; may be deleted at any time"
_VISITS = TypeAdapter(tuple[Visit, ...])


class Kept:
    """The evaluated records of one folder."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / FILE
        self._program = encode(asdict(this_program()))
        self._records = _read(self._file)
        self._changed = False

    def visits(self, record: Path, night: NightResult | None = None) -> tuple[Visit, ...]:
        """What a record of the folder says, `night` when it is evaluated already.

        Raises RecordError, PlanError, FittingError.
        """
        status = record.stat()
        stamp = [outer_links(record)[1], status.st_size, status.st_mtime_ns]
        found = self._records.get(record.name)
        if found is not None and found == self._line(record, stamp, found.get("visits")):
            return _VISITS.validate_python(found["visits"])
        checked = verify(record)
        if night is None and not checked.intact:
            raise RecordError(f"{record.name}: {checked.problem}; a broken record is not counted")
        visits = visits_of(record, calibrate(record) if night is None else night)
        if checked.intact and checked.head == stamp[0]:
            plain = json.loads(json.dumps(_VISITS.dump_python(visits, mode="json")))
            self._records[record.name] = self._line(record, stamp, plain)
            self._changed = True
        return visits

    def write(self) -> None:
        """Keep what is new; in a folder that cannot be written to it is evaluated again next time."""
        if not self._changed:
            return
        there = {name: line for name, line in self._records.items() if (self._file.parent / name).exists()}
        new = self._file.with_name(f"{FILE}.new")
        with suppress(OSError):
            new.write_text(json.dumps({"about": _ABOUT, "records": there}), encoding="utf-8")
            new.replace(self._file)

    def _line(self, record: Path, stamp: list[Any], visits: Any) -> dict[str, Any]:
        text = json.dumps([self._program, record.name, stamp, visits])
        return {"stamp": stamp, "visits": visits, "sum": hashlib.sha256(text.encode()).hexdigest()}


def _read(file: Path) -> dict[str, Any]:
    """Nothing when there is no such file or it says nothing sensible."""
    try:
        records = json.loads(file.read_text(encoding="utf-8"))["records"]
        return {name: line for name, line in records.items() if isinstance(line, dict)}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}
