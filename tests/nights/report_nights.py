"""Quick nights for the report's tests, and records told again with something changed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from daemon.journal import store
from daemon.journal.entry import FIRST_LINK, Entry, encode, link
from daemon.journal.read import read_entries
from plans.loading import parse_plan
from tests.nights.rehearsed import EXAMPLES, rehearsed_once

Change = Callable[[Entry], Iterable[tuple[str, Mapping[str, Any]]]]

QUICK_PLAN = """
[plan]
title = "Tern Rock, <five> quick & plain points"
bench = "bench-bath.toml"
register = "register.toml"
order = "up_and_down"
[reference]
serial = "TR-REF-01"
channel = 1
[[items]]
serial = "TR-IPRT-11"
channel = 2
[[items]]
serial = "TR-IPRT-14"
channel = 3
[defaults]
ramp_k_per_min = 3.0
minimum_soak_minutes = 5
maximum_wait_minutes = 60
[defaults.equilibrium]
window_minutes = 3
drift_mk = 3.0
scatter_mk = 2.0
item_drift_mk = 3.0
[zero]
temperature_c = 0.0
[[points]]
temperature_c = 25.0
[[points]]
temperature_c = 45.0
label = "never at rest, $x_{"
[points.equilibrium]
drift_mk = 0.01
[[points]]
temperature_c = 60.0
label = "top"
[[points]]
temperature_c = 25.0
[finish]
parking_c = 20.0
"""
"""Two thermometers, 25 °C from both sides, and one point (number 3) whose criterion is never met."""


def quick_night(record: Path, *faults: str) -> Path:
    """Rehearse the quick plan; returns the record."""
    bench = (EXAMPLES / "bench-bath.toml").read_text(encoding="utf-8")
    register = (EXAMPLES / "register.toml").read_text(encoding="utf-8")
    rehearsed_once(parse_plan(QUICK_PLAN, bench, register), record, *faults)
    return record


def told_again(record: Path, new: Path, change: Change, later_s: float = 0.0) -> Path:
    """A record with a sound chain whose entries went through `change`: each becomes none, one or more.

    `later_s` moves the whole run to a later day.
    """
    rows, head, seq = [], FIRST_LINK, 0
    numbers: dict[int, int] = {}
    for entry in read_entries(record):
        for kind, body in change(entry):
            seq += 1
            numbers[entry.seq] = seq
            text = encode(_renumbered(body, numbers))
            utc_s = entry.utc_s + later_s
            head = link(head, seq, str(kind), entry.when_s, utc_s, text)
            rows.append((seq, str(kind), entry.when_s, utc_s, text, head))
    connection = store.create(new, synced=False)
    store.append(connection, rows)
    store.close(connection)
    return new


def _renumbered(body: Mapping[str, Any], numbers: Mapping[int, int]) -> Mapping[str, Any]:
    return {**body, "of": numbers.get(body["of"], 0)} if "of" in body else body
