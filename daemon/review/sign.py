"""Signing: one more entry behind a closed record, in the same chain."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daemon.journal.entry import Kind
from daemon.journal.journal import signed_journal
from daemon.journal.read import RecordError, verify
from daemon.journal.sinks import StorageFault
from drivers.clock import Clock

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}")
LONGEST_TEXT = 500


class NotSigned(Exception):
    """Nothing was signed; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Signer:
    """A person: a short id and the name as it is written out."""

    who: str
    name: str

    def __post_init__(self) -> None:
        if not _ID.fullmatch(self.who):
            raise NotSigned(f"the id {self.who!r} cannot be used: letters, digits, . _ - (at most 40)")
        clean(self.name, "name of the person who signs")


def clean(text: str, what: str) -> str:
    """Words a person typed, on one line; raises NotSigned when nothing is said or it is no plain text."""
    words = " ".join(text.split())
    if not any(character.isalnum() for character in words):
        raise NotSigned(f"the {what} is missing: say it in words")
    if len(words) > LONGEST_TEXT or not words.isprintable():
        raise NotSigned(f"the {what} must be plain text of at most {LONGEST_TEXT} characters")
    return words


def sign(record: Path, clock: Clock, signer: Signer, body: Mapping[str, Any]) -> str:
    """Append a decision and return the new head; raises NotSigned, RecordError.

    The record must be whole and closed: a record that is still being written has its own writer.
    """
    found = verify(record)
    if not found.intact:
        raise NotSigned(f"{record.name}: {found.problem}; a broken record is never signed")
    if not found.closed:
        raise NotSigned(
            f"{record.name}: the run is not closed. Wait for its end; if it was interrupted, "
            "`ohmvigil resume` brings it to one"
        )
    try:
        journal = signed_journal(record, clock, found.entries, bytes.fromhex(found.head))
        journal.append(Kind.REVIEW, {**body, "who": signer.who, "name": clean(signer.name, "name")})
        journal.close()
    except (sqlite3.Error, StorageFault) as fault:
        raise NotSigned(f"{record.name}: nothing was signed, {fault}") from fault
    if verify(record).head != journal.head:
        raise RecordError(f"{record}: somebody else signed at the same moment; look again with `verify`")
    return journal.head
