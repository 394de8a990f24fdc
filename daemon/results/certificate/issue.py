"""Issuing: only a person named by the laboratory, only accepted results, never a simulated night."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from daemon.fitting.errors import FittingError
from daemon.results.certificate.draw import Drawn, draw
from daemon.results.certificate.facts import Authorised, Evaluated, NoCertificate, evaluate, facts_of
from daemon.results.certificate.papers import Papers, Signatory, parse_papers
from daemon.results.judgement import SIMULATED
from daemon.review.recompute import difference, furthest_mk
from daemon.review.sign import Signer, sign
from daemon.review.state import Issue, Review
from daemon.review.words import in_words
from drivers.clock import Clock

_OTHER_BYTES = (
    "NOT the bytes that were authorised: another program, or logo and template not given with --laboratory. "
    "What was issued is the file kept then"
)
_NO_DIFFERENCE_MK = 1e-3


@dataclass(frozen=True, slots=True)
class Certificate:
    """A drawn certificate: file name without suffix, and how it stands in words."""

    serial: str
    stem: str
    drawn: Drawn
    standing: str
    as_signed: bool = True


def draft(
    evaluated: Evaluated, serial: str, papers: Papers, schema: Path | None, step_k: float | None
) -> Certificate:
    """A certificate that nobody has authorised; raises NoCertificate, DccError, TemplateError."""
    drawn = draw(facts_of(evaluated, serial, papers, None, step_k), schema)
    what = SIMULATED if evaluated.story.simulated else "draft, not authorised"
    stem = f"{'SIMULATED' if evaluated.story.simulated else 'DRAFT'}-{serial}"
    return Certificate(serial, stem, drawn, what)


def authorise(
    record: Path,
    clock: Clock,
    who: str,
    serial: str,
    papers: Papers,
    schema: Path | None = None,
    step_k: float | None = None,
) -> Certificate:
    """Authorise one certificate and sign that into the record; raises NotSigned, and as `draft`."""
    evaluated = evaluate(record)
    signatory = _may(evaluated, who, papers)
    _still_found(evaluated, serial)
    authorised = _authorised(evaluated, serial, papers, signatory, clock.utc_s())
    drawn = draw(facts_of(evaluated, serial, papers, authorised, step_k), schema)
    body = {
        "what": "authorised",
        "serial": serial,
        "number": authorised.number,
        "replaces": authorised.replaces,
        "reasons": list(authorised.reasons),
        "issued_utc_s": authorised.utc_s,
        "step_k": step_k,
        "laboratory": papers.laboratory_text,
        "order": papers.order_text,
        "pdf_sha256": drawn.pdf_sha256,
        "dcc_sha256": drawn.dcc_sha256,
    }
    sign(record, clock, Signer(signatory.id, signatory.name), body)
    return Certificate(serial, authorised.number, drawn, f"authorised by {signatory.name}")


def redraw(record: Path, issue: Issue, folder: Path | None, schema: Path | None) -> Certificate:
    """An authorised certificate again, from what the record held then; logo and template from `folder`."""
    papers = parse_papers(issue.laboratory, issue.order, folder)
    by = papers.laboratory.signatory(issue.by.who) or Signatory(id=issue.by.who, name=issue.by.name, role="–")
    authorised = Authorised(by, issue.issued_utc_s, issue.number, issue.replaces, issue.reasons)
    evaluated = evaluate(record, issue.by.seq - 1)
    drawn = draw(facts_of(evaluated, issue.serial, papers, authorised, issue.step_k), schema)
    same = (drawn.pdf_sha256, drawn.dcc_sha256) == (issue.pdf_sha256, issue.dcc_sha256)
    words = "the same bytes as authorised" if same else _OTHER_BYTES
    return Certificate(issue.serial, issue.number, drawn, f"authorised by {by.name}, {words}", same)


def standing(review: Review, serial: str) -> Issue | None:
    """The certificate in force; None when there is none or something was decided since."""
    issue = review.issued(serial)
    return None if issue is None or review.since(issue) else issue


def _may(evaluated: Evaluated, who: str, papers: Papers) -> Signatory:
    if evaluated.story.simulated:
        raise NoCertificate(f"{SIMULATED}: nothing of it can be authorised")
    if not evaluated.verification.closed:
        raise NoCertificate(
            "the record is not closed; `ohmvigil resume` brings an interrupted run to its end"
        )
    signatory = papers.laboratory.signatory(who)
    if signatory is None:
        known = ", ".join(one.id for one in papers.laboratory.signatories) or "nobody"
        raise NoCertificate(f"{who!r} may not authorise; [[signatories]] of the laboratory file has {known}")
    if evaluated.night.review.accepted is None:
        raise NoCertificate(
            "the results are not accepted as they stand: `ohmvigil review RECORD accept` first"
        )
    return signatory


def _still_found(evaluated: Evaluated, serial: str) -> None:
    """What is issued is what was accepted: another program may find something else."""
    accepted = evaluated.night.review.accepted
    now = next((item.characteristic for item in evaluated.night.items if item.serial == serial), None)
    if accepted is None or now is None or serial not in accepted.results:
        return  # said elsewhere, in words of its own
    then = accepted.results[serial]
    try:
        # Another machine may round the last digits otherwise.
        if max(furthest_mk(then, now)) <= _NO_DIFFERENCE_MK:
            return
    except FittingError:
        pass
    raise NoCertificate(
        f"{serial}: this program does not find what was accepted ({difference(then, now)}; accepted with "
        f"{accepted.program}); look at it again and `ohmvigil review RECORD accept`"
    )


def _authorised(
    evaluated: Evaluated, serial: str, papers: Papers, signatory: Signatory, utc_s: float
) -> Authorised:
    review, first = evaluated.night.review, _first_number(evaluated, serial, papers)
    former = review.issued(serial)
    plain = Authorised(signatory, utc_s, first)
    if former is None:
        return plain
    changes = review.since(former)
    if not changes:
        raise NoCertificate(
            f"{serial}: certificate {former.number} stands and nothing was decided since; to replace it, "
            "say first what was wrong: `ohmvigil review RECORD amend`"
        )
    version = 1 + sum(issue.serial == serial for issue in review.issues)
    reasons = tuple(in_words(entry) for entry in changes)
    return replace(plain, number=f"{first}-{version}", replaces=former.number, reasons=reasons)


def _first_number(evaluated: Evaluated, serial: str, papers: Papers) -> str:
    """Prefix, day of the run, eight digits of the record's own hash, serial: unique without any counter."""
    day = datetime.fromtimestamp(evaluated.story.opening.utc_s, UTC).strftime("%Y%m%d")
    head = evaluated.verification.closed_head[:8]
    return f"{papers.laboratory.number_prefix}-{day}-{head}-{serial.replace('/', '_')}"
