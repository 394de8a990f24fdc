"""Does this program give the results that were accepted or reported, and if not, how different are they?"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from daemon.fitting.characteristic import Characteristic
from daemon.fitting.comparison import common_c, furthest_apart_mk
from daemon.fitting.errors import FittingError
from daemon.fitting.exchange import from_dict, plain_result
from daemon.journal.entry import encode
from daemon.journal.read import RecordError
from daemon.results.calibrate import calibrate
from daemon.results.numbers import day_and_clock, uncertainty
from daemon.review.state import read_review

_SMALL_MK = 0.001
"""A smaller difference is told as one in the last digits."""


@dataclass(frozen=True, slots=True)
class Recomputed:
    """One version of the results: what it was, and by thermometer how it differs now (empty: not at all)."""

    version: str
    program: str
    differences: dict[str, str]

    @property
    def same(self) -> bool:
        """Whether every number came out the same to the last digit."""
        return not any(self.differences.values())


def recompute(record: Path, report: Path | None = None) -> list[Recomputed]:
    """Every accepted version anew from the raw readings, and the one of a report folder if it is there.

    Each is evaluated with the exclusions in force when it was made. Raises RecordError, PlanError,
    FittingError.
    """
    found = []
    for one in read_review(record).acceptances:
        name = f"accepted by {one.by.name}, {day_and_clock(one.by.utc_s)}"
        found.append(_compared(record, name, one.program, one.results, one.by.seq))
    if report is not None and (report / "coefficients.json").is_file():
        found.append(_reported(record, report / "coefficients.json"))
    return found


def _reported(record: Path, path: Path) -> Recomputed:
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
        results = {t["serial"]: t.get("characteristic") for t in document["thermometers"]}
        facts = document["record"]
        return _compared(
            record, f"report of entry {facts['entries']}", facts["program"], results, facts["entries"]
        )
    except (ValueError, KeyError, TypeError) as problem:
        raise RecordError(f"{path}: not the coefficients of a report ({problem!r})") from problem


def _compared(record: Path, name: str, program: str, results: Mapping[str, Any], upto: int) -> Recomputed:
    now = {item.serial: item.characteristic for item in calibrate(record, upto).items}
    wanted = {serial: then for serial, then in results.items() if then is not None}
    unfitted = {s: "has a characteristic now, had none" for s, c in now.items() if c and s not in wanted}
    return Recomputed(
        name, program, {s: difference(then, now.get(s)) for s, then in wanted.items()} | unfitted
    )


def difference(then: Mapping[str, Any], now: Characteristic | None) -> str:
    """How a result differs from the one written down; empty when every digit is the same."""
    if now is None:
        return "cannot be fitted now"
    bare = {**then, "fit": None, "with_excluded": None}
    if encode(bare) == encode(plain_result(now)):
        return ""
    try:
        apart_mk, wider_mk = furthest_mk(then, now)
    except FittingError as problem:
        return str(problem)
    return f"{_most(apart_mk)} apart, U(t) {_most(wider_mk)}"


def _most(value_mk: float) -> str:
    return f"up to {uncertainty(value_mk)}" if value_mk >= _SMALL_MK else f"less than {_SMALL_MK} mK"


def furthest_mk(then: Mapping[str, Any], now: Characteristic) -> tuple[float, float]:
    """How far a result is from the one written down, and its U(t), at most, in mK; raises FittingError."""
    former = from_dict({**then, "fit": None, "with_excluded": None})
    where = common_c(now, former)
    wider_k = now.expanded_uncertainty_k(where) - former.expanded_uncertainty_k(where)
    return furthest_apart_mk(now, former), 1e3 * float(np.abs(wider_k).max())
