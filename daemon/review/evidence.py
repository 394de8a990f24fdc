"""Files that belong to a record: kept beside it by the hash of their bytes, signed into it."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path

from daemon.review.sign import NotSigned, Signer, clean, sign
from daemon.review.state import Evidence, read_review
from drivers.clock import Clock

LARGEST_BYTES = 200 * 1024 * 1024
_ODD = re.compile(r"[^A-Za-z0-9._-]+")


@dataclass(frozen=True, slots=True)
class Kept:
    """One attached file and what became of its copy: empty when it is as it was signed."""

    evidence: Evidence
    copy: Path
    problem: str


def attach(record: Path, clock: Clock, signer: Signer, file: Path, about: str) -> str:
    """Copy a file beside the record and sign its hash; returns the new head. Raises NotSigned, OSError."""
    said = clean(about, "description")
    if not file.is_file():
        raise NotSigned(f"{file}: there is no such file")
    if not file.stat().st_size <= LARGEST_BYTES:
        raise NotSigned(f"{file.name} is larger than {LARGEST_BYTES // 1024 // 1024} MiB; attach an excerpt")
    data = file.read_bytes()
    sha256 = hashlib.sha256(data).hexdigest()
    if any(one.sha256 == sha256 for one in read_review(record).evidence):
        raise NotSigned(f"{file.name}: these bytes are attached to the record already")
    name = _ODD.sub("_", file.name)
    body = {"what": "attached", "file": name, "sha256": sha256, "size": len(data), "about": said}
    copy = _copy(record, sha256, name)
    copy.parent.mkdir(exist_ok=True)
    copy.write_bytes(data)
    return sign(record, clock, signer, body)


def kept_evidence(record: Path) -> list[Kept]:
    """Every attached file, its copy read and hashed anew; raises RecordError."""
    found = []
    for one in read_review(record).evidence:
        copy = _copy(record, one.sha256, one.file)
        found.append(Kept(one, copy, _problem(copy, one.sha256)))
    return found


def _problem(copy: Path, sha256: str) -> str:
    if not copy.is_file():
        return "the copy beside the record is missing"
    same = hashlib.sha256(copy.read_bytes()).hexdigest() == sha256
    return "" if same else "the copy is not the file that was signed"


def _copy(record: Path, sha256: str, name: str) -> Path:
    return record.with_suffix(".evidence") / f"{sha256[:12]}-{name}"
