"""A very short night to replay, and the instant at which two nights on the same bench part."""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import Callable, Sequence
from contextlib import closing
from itertools import zip_longest
from pathlib import Path

from daemon.journal import store
from daemon.journal.entry import Entry, Kind, encode
from daemon.journal.read import read_entries
from daemon.night import Voice
from daemon.rehearsal import rehearse
from plans.loading import parse_plan
from plans.run_plan import RunPlan
from tests.campaigns.short_nights import short_night

Word = tuple[float, str, str]
"""When in s, which word, by whom."""


def brief_night(plant: str = "bath", **changes: str) -> RunPlan:
    """One point of a plant's shortened night; `changes` replaces text of the plan, key = new value."""
    run = short_night(plant)
    first, *_ = run.texts.plan.split("[[points]]")
    top_c = {"bath": 60.0, "block": 80.0, "furnace": 80.0}[plant]
    text = f"{first}[[points]]\ntemperature_c = {top_c}\n\n[finish]\nparking_c = {min(55.0, top_c)}\n"
    for key, value in changes.items():
        line = next(line for line in text.splitlines() if line.startswith(f"{key} = "))
        text = text.replace(line, f"{key} = {value}", 1)
    return parse_plan(text, run.texts.bench, run.texts.register, run.names)


def spoken(*words: Word) -> Callable[[Voice], None] | None:
    """Somebody who says these words at their instants."""
    if not words:
        return None

    def hand_over(voice: Voice) -> None:
        for when_s, word, who in words:
            asyncio.get_running_loop().call_later(when_s, voice, word, who, "")

    return hand_over


def recorded(record: Path, run: RunPlan, faults: Sequence[str] = (), words: Sequence[Word] = ()) -> Path:
    """Rehearse a night and give its record."""
    rehearse(run, record, faults=faults, hand_over=spoken(*words))
    return record


def first_apart(record: Path, other: Path) -> Entry:
    """The first entry of `record` that `other` has not; their openings, which hold the plans, aside."""
    for one, two in zip_longest(_after_opening(record), _after_opening(other)):
        if two is None or (one.kind, encode(one.body)) != (two.kind, encode(two.body)):
            assert isinstance(one, Entry)
            return one
    raise AssertionError("the two nights are the same")


def _after_opening(record: Path) -> list[Entry]:
    return [entry for entry in read_entries(record) if entry.kind != Kind.OPENED]


def cut_off(record: Path, new: Path, share: float) -> Path:
    """The beginning of a record, as a crash leaves it."""
    with closing(sqlite3.connect(record)) as connection:
        rows = connection.execute("SELECT * FROM entry ORDER BY seq").fetchall()
    unfinished = store.create(new, synced=False)
    store.append(unfinished, rows[: int(share * len(rows))])
    store.close(unfinished)
    return new
