"""The laboratory's own nights: unchanged, and decided and evaluated by this program as they were then."""

from __future__ import annotations

import os
from itertools import chain
from pathlib import Path

from daemon.journal.read import RecordError, verify
from daemon.replay.regression import Row, records_in, replay_all
from daemon.results.numbers import significant
from daemon.validation.check import Check, Part, Say


def check_records(folder: Path, say: Say) -> Part:
    """Every record of the folder and the folders below it, several at a time."""
    records = records_in(folder)
    say(f"{len(records)} of the laboratory's own records")
    rows = replay_all(records, os.cpu_count() or 1, lambda done: say(f"record {done} of {len(records)}"))
    pairs = zip(records, rows, strict=True)
    return Part(
        "The laboratory's own records",
        "Each record's chain is walked, then the night is replayed: the same decisions, the same results.",
        tuple(chain.from_iterable((_chain(path), _replayed(row)) for path, row in pairs)),
    )


def _chain(path: Path) -> Check:
    try:
        found = verify(path)
        words, holds = found.problem or f"{found.entries} entries, chain whole", found.intact
    except RecordError as error:
        words, holds = str(error), False
    return Check(
        f"{path.name}: as it was written", "chain whole", words, "SHA-256 from entry to entry", holds
    )


def _replayed(row: Row) -> Check:
    words = row.refused or (
        f"{row.decisions} decisions, {row.differences} differ; results {row.results or 'the same'}, "
        f"largest change {significant(row.results_mk)} mK"
    )
    return Check(
        f"{row.record}: replayed", "same decisions, same results", words, "the record itself", row.same
    )
