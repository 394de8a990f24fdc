"""The decisions a person may sign: accept, exclude a point and put it back, amend."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from daemon.fitting.exchange import plain_result
from daemon.history.check_standard import check_standard_of
from daemon.history.past import Past, past_of
from daemon.history.since_last import since_last
from daemon.journal.entry import encode
from daemon.program import program_version
from daemon.results.calibrate import ItemResult, NightResult, calibrate
from daemon.review.sign import NotSigned, Signer, clean, sign
from daemon.review.state import Exclusion, Review, Signature
from drivers.clock import Clock

_FEWEST_LEFT = 1


def accept(record: Path, clock: Clock, signer: Signer, remark: str = "") -> str:
    """Accept the results as they stand; they are written down with the program's version.

    When the check standard calls for action, or a thermometer differs from its last run by more than both
    uncertainties, only with a remark that says why all the same.
    """
    night = calibrate(record)
    results = {i.serial: plain_result(i.characteristic) for i in night.items if i.characteristic is not None}
    accepted = night.review.accepted
    if accepted is not None and encode(accepted.results) == encode(results):
        raise NotSigned(
            f"these results were accepted by {accepted.by.name} already and nothing was decided since"
        )
    if not results:
        raise NotSigned("there is no result to accept: no thermometer has a characteristic")
    said = clean(remark, "remark") if remark else ""
    body = {"what": "accepted", "remark": said, "program": program_version(), "results": results}
    body |= _looked_back(night, past_of(record, night), said)
    return sign(record, clock, signer, body)


def _looked_back(night: NightResult, past: Past, said: str) -> dict[str, Any]:
    check = check_standard_of(night, past)
    surprises = {one.serial: one.sentence for one in since_last(past) if not one.agrees}
    against = [f"the {check.sentence}"] if check is not None and check.suspect else []
    against += surprises.values()
    if against and not said:
        raise NotSigned(
            f"{'; '.join(against)}. Find the cause first; who accepts all the same says why with --because"
        )
    checked = {"check_standard": check.sentence, "check_suspect": check.suspect} if check is not None else {}
    return checked | ({"surprises": surprises} if surprises else {})


def exclude(record: Path, clock: Clock, signer: Signer, number: int, serial: str, cause: str) -> str:
    """Take point `number` (from 1) out of the fit of a thermometer, or of all with serial "".

    The point stays in the record and in every report, and both fits are shown. Only a stated cause may
    exclude, and never so many that nothing is left to test the fit by.
    """
    night, index, stated = calibrate(record), number - 1, clean(cause, "cause")
    _known(night, index, serial)
    for item in _concerned(night, serial):
        if night.review.excluded(index, item.serial) is not None:
            raise NotSigned(f"point {number} of {item.serial} is excluded already; the cause stands there")
    tried = Exclusion(index, serial, stated, Signature(signer.who, signer.name, 0, 0.0))
    _enough_left(calibrate(record, trying=tried), _concerned(night, serial))
    return sign(
        record, clock, signer, {"what": "excluded", "index": index, "serial": serial, "cause": stated}
    )


def put_back(record: Path, clock: Clock, signer: Signer, number: int, serial: str, reason: str) -> str:
    """Undo an exclusion; both stay in the record."""
    night, index = calibrate(record), number - 1
    if not any((e.index, e.serial) == (index, serial) for e in night.review.exclusions):
        raise NotSigned(f"point {number} of {serial or 'all thermometers'} was not excluded by a person")
    body = {"what": "put_back", "index": index, "serial": serial, "reason": clean(reason, "reason")}
    return sign(record, clock, signer, body)


def amend(record: Path, clock: Clock, signer: Signer, serial: str, change: str, reason: str) -> str:
    """Say what was wrong about a thermometer or the run, and why; the original stays."""
    night = calibrate(record)
    _known(night, None, serial)
    body = {
        "what": "amended",
        "serial": serial,
        "change": clean(change, "change"),
        "reason": clean(reason, "reason"),
    }
    return sign(record, clock, signer, body)


def state_in_words(review: Review) -> str:
    """Where the review stands, in one sentence."""
    if review.accepted is None:
        return "Not accepted yet: nothing may be issued."
    issued = ", ".join(one.number for one in review.issues) or "no certificate was authorised yet"
    return f"Accepted by {review.accepted.by.name}; {issued}."


def _known(night: NightResult, index: int | None, serial: str) -> None:
    serials = [item.serial for item in night.items]
    if serial and serial not in serials:
        raise NotSigned(f"there is no thermometer {serial!r} in this record (there are {', '.join(serials)})")
    measured = [point.index for point in night.points]
    if index is not None and index not in measured:
        numbers = ", ".join(str(one + 1) for one in measured)
        raise NotSigned(f"point {index + 1} was not measured (there are points {numbers})")


def _concerned(night: NightResult, serial: str) -> list[ItemResult]:
    return [item for item in night.items if serial in ("", item.serial)]


def _enough_left(night: NightResult, before: list[ItemResult]) -> None:
    for item in before:
        now = night.item(item.serial)
        if item.characteristic is None:
            continue
        left = -1 if now.characteristic is None else now.characteristic.degrees_of_freedom
        if left < _FEWEST_LEFT:
            raise NotSigned(
                f"{item.serial}: too few points would be left to test the fit by; measure again instead"
            )
