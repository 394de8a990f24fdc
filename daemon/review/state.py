"""What people decided after the night, read from the entries signed behind the closed record.

Nothing here changes what was measured: a decision is one more entry of the same chain, a later one may undo
an earlier one, and both stay.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from daemon.journal.entry import Entry, Kind
from daemon.journal.read import read_entries


@dataclass(frozen=True, slots=True)
class Signature:
    """Who signed: `who` the id, `name` as written out, entry number, UTC in s since 1970."""

    who: str
    name: str
    seq: int
    utc_s: float


@dataclass(frozen=True, slots=True)
class Exclusion:
    """A point (`index` from 0) that a person took out of the fit of one thermometer, or of all ("")."""

    index: int
    serial: str
    cause: str
    by: Signature


@dataclass(frozen=True, slots=True)
class Amendment:
    """A correction of anything that is not a reading: what was changed, and why."""

    serial: str
    change: str
    reason: str
    by: Signature


@dataclass(frozen=True, slots=True)
class Evidence:
    """A file that belongs to the record, known by the SHA-256 of its bytes."""

    file: str
    sha256: str
    size: int
    what: str
    by: Signature


@dataclass(frozen=True, slots=True)
class Acceptance:
    """Results accepted by a person; `results` are the characteristics as they then stood, by serial.

    `check_standard` is what it said then (empty without one), `check_suspect` that it called for action;
    `surprises` are the thermometers, by serial, that differed from their last run, in a sentence each.
    """

    remark: str
    program: str
    results: Mapping[str, Any]
    by: Signature
    check_standard: str = ""
    check_suspect: bool = False
    surprises: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Issue:
    """A certificate authorised by a person, with everything it was made from and what came of it."""

    serial: str
    number: str
    replaces: str
    laboratory: str
    order: str
    pdf_sha256: str
    dcc_sha256: str
    reasons: tuple[str, ...]
    issued_utc_s: float
    step_k: float | None
    by: Signature


@dataclass
class Review:
    """All of it, in order; `accepted` is the acceptance still in force."""

    exclusions: list[Exclusion] = field(default_factory=list)
    amendments: list[Amendment] = field(default_factory=list)
    evidence: list[Evidence] = field(default_factory=list)
    acceptances: list[Acceptance] = field(default_factory=list)
    issues: list[Issue] = field(default_factory=list)
    history: list[Entry] = field(default_factory=list)
    accepted: Acceptance | None = None

    def excluded(self, index: int, serial: str) -> Exclusion | None:
        """The exclusion in force for this point and thermometer."""
        return next((e for e in self.exclusions if e.index == index and e.serial in ("", serial)), None)

    def issued(self, serial: str) -> Issue | None:
        """The last certificate of this thermometer."""
        return next((one for one in reversed(self.issues) if one.serial == serial), None)

    def since(self, issue: Issue) -> list[Entry]:
        """What was decided about a thermometer after its certificate, evidence apart."""
        deciding = ("excluded", "put_back", "amended")
        return [
            entry
            for entry in self.history
            if entry.seq > issue.by.seq
            and entry.body["what"] in deciding
            and entry.body["serial"] in ("", issue.serial)
        ]

    def take(self, entry: Entry) -> None:
        """Take the next signed entry."""
        body, by = entry.body, signature(entry)
        self.history.append(entry)
        match body["what"]:
            case "excluded":
                self.exclusions.append(Exclusion(body["index"], body["serial"], body["cause"], by))
            case "put_back":
                self.exclusions = [
                    e for e in self.exclusions if (e.index, e.serial) != (body["index"], body["serial"])
                ]
            case "amended":
                self.amendments.append(Amendment(body["serial"], body["change"], body["reason"], by))
            case "attached":
                told = Evidence(body["file"], body["sha256"], body["size"], body["about"], by)
                self.evidence.append(told)
            case "accepted":
                self.acceptances.append(_acceptance(body, by))
            case "authorised":
                self.issues.append(_issue(body, by))
        if body["what"] == "accepted":
            self.accepted = self.acceptances[-1]
        elif body["what"] in ("excluded", "put_back", "amended"):
            self.accepted = None


def _acceptance(body: Mapping[str, Any], by: Signature) -> Acceptance:
    check = {key: body[key] for key in ("check_standard", "check_suspect", "surprises") if key in body}
    return Acceptance(body["remark"], body["program"], body["results"], by, **check)


def _issue(body: Mapping[str, Any], by: Signature) -> Issue:
    given = {key: body[key] for key in Issue.__dataclass_fields__ if key not in ("reasons", "by")}
    return Issue(**given, reasons=tuple(body["reasons"]), by=by)


def signature(entry: Entry) -> Signature:
    """Who signed an entry, and when."""
    return Signature(entry.body["who"], entry.body["name"], entry.seq, entry.utc_s)


def read_review(record: Path, upto: int | None = None) -> Review:
    """The decisions in a record, those up to entry `upto` only if it is given; raises RecordError."""
    return folded(read_entries(record, frozenset({Kind.REVIEW})), upto)


def folded(entries: Iterable[Entry], upto: int | None = None) -> Review:
    """The state after these entries."""
    review = Review()
    for entry in entries:
        if upto is None or entry.seq <= upto:
            review.take(entry)
    return review
