"""Entries of older record formats, brought to the present one as they are read; the file is never touched.

A new field, or another meaning of an old one, makes a new format: raise FORMAT_VERSION, add the step that
turns the format before into it, and keep a small record of the old format among the tests. A step leaves
alone what has the newer form already: a newer program may have gone on with an old record, or signed it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from daemon.journal.entry import FORMAT_VERSION, Kind

Body = Mapping[str, Any]


def migrated(kind: str, body: Body, version: int) -> Body:
    """The body as the present format has it, from format `version` (1 or later); `body` stays as it is."""
    for older in range(version, FORMAT_VERSION):
        body = _STEPS[older](kind, body)
    return body


def _kinds_of_failure(kind: str, body: Body) -> Body:
    """Format 2 names the kind of an instrument's failure; before, only the sentence was written."""
    if kind == Kind.OBSERVATION and body.get("what") == "failed" and "error" not in body:
        return {**body, "error": ""}
    return body


def _what_feeds_the_machine(kind: str, body: Body) -> Body:
    """Format 3 says of the computer whether it runs on its battery; before, nobody had looked."""
    if kind == Kind.OBSERVATION and body.get("what") == "machine" and "on_battery" not in body:
        return {**body, "on_battery": None, "charge_percent": None}
    return body


def _how_long_commits_took(kind: str, body: Body) -> Body:
    """Format 4 says how long the record took to write; before, nobody had measured it."""
    if kind == Kind.OBSERVATION and body.get("what") == "machine" and "commit_s" not in body:
        return {**body, "commit_s": None}
    return body


_STEPS: dict[int, Callable[[str, Body], Body]] = {
    1: _kinds_of_failure,
    2: _what_feeds_the_machine,
    3: _how_long_commits_took,
}
