"""Everything one certificate states, gathered once for the page and for the digital certificate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from daemon.fitting.characteristic import Characteristic
from daemon.fitting.classes import tolerance_class
from daemon.fitting.conformity import ClassJudgement, Rule, judge_class
from daemon.journal.read import Verification, verify
from daemon.program import program_version
from daemon.results.calibrate import ItemResult, NightResult, calibrate
from daemon.results.certificate.papers import OrderedItem, Papers, Signatory
from daemon.results.certificate.remarks import remarks_of
from daemon.results.certificate.rows import PointRow, TableLine, point_rows, table_lines
from daemon.results.judgement import SIMULATED
from daemon.results.story import Story, tell
from plans.probe import Thermometer

DRAFT = "DRAFT — not authorised"


class NoCertificate(Exception):
    """There can be no certificate; the message says why and what to do."""


@dataclass(frozen=True)
class Authorised:
    """By whom and when (UTC in s), under which number, and which certificate it replaces for what reasons."""

    by: Signatory
    utc_s: float
    number: str
    replaces: str = ""
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class Evaluated:
    """A record read once for the certificates of all its thermometers."""

    record: Path
    night: NightResult
    story: Story
    verification: Verification


@dataclass(frozen=True)
class Facts:
    """One certificate's content; a draft has no `number`; `mark` is printed across every page."""

    evaluated: Evaluated
    papers: Papers
    item: ItemResult
    characteristic: Characteristic
    ordered: OrderedItem
    thermometer: Thermometer
    number: str
    mark: str
    authorised: Authorised | None
    points: tuple[PointRow, ...]
    table: tuple[TableLine, ...]
    conformity: ClassJudgement | None
    remarks: tuple[str, ...]

    @property
    def program(self) -> str:
        """The program that found these results: when they were accepted, or for a draft the present one."""
        accepted = self.evaluated.night.review.accepted
        return accepted.program if self.authorised is not None and accepted is not None else program_version()

    @property
    def begun(self) -> date:
        """First day of the measurement, UTC."""
        return _day(self.evaluated.story.opening.utc_s)

    @property
    def ended(self) -> date:
        """Last day of the measurement, UTC."""
        story = self.evaluated.story
        return _day(story.utc_s(story.end_s))

    @property
    def issued(self) -> date | None:
        """Day of issue; None for a draft."""
        return None if self.authorised is None else _day(self.authorised.utc_s)


def evaluate(record: Path, upto: int | None = None) -> Evaluated:
    """Read a record; raises RecordError, PlanError, FittingError."""
    return Evaluated(record, calibrate(record, upto), tell(record), verify(record))


def facts_of(
    evaluated: Evaluated,
    serial: str,
    papers: Papers,
    authorised: Authorised | None,
    step_k: float | None = None,
) -> Facts:
    """The content of one thermometer's certificate; raises NoCertificate, FittingError."""
    night, story = evaluated.night, evaluated.story
    item = _item(night, serial)
    found = item.characteristic
    if found is None:
        raise NoCertificate(
            f"{serial}: no certificate without a result; {item.problem or 'nothing measured'}"
        )
    if not evaluated.verification.intact:
        raise NoCertificate(
            f"{evaluated.record.name}: {evaluated.verification.problem}; nothing may be issued"
        )
    if story.simulated and authorised is not None:
        raise NoCertificate(f"{SIMULATED}: nothing of it can be authorised")
    ordered, smallest_mk = papers.order.item(serial), papers.laboratory.smallest_uncertainty_mk or 0.0
    return Facts(
        evaluated,
        papers,
        item,
        found,
        ordered,
        night.run.thermometer(serial),
        authorised.number if authorised is not None else "",
        SIMULATED if story.simulated else "" if authorised else DRAFT,
        authorised,
        tuple(point_rows(night, item, smallest_mk)),
        tuple(table_lines(found, step_k, smallest_mk)),
        _conformity(found, ordered, night.run.thermometer(serial), _day(story.opening.utc_s)),
        tuple(remarks_of(night, story, evaluated.verification, item)),
    )


def certifiable(night: NightResult) -> Sequence[str]:
    """Serials of the thermometers that may get a certificate: those that were sent in, with a result."""
    return [i.serial for i in night.items if i.role == "item" and i.characteristic is not None]


def _item(night: NightResult, serial: str) -> ItemResult:
    try:
        return night.item(serial)
    except KeyError:
        known = ", ".join(item.serial for item in night.items)
        raise NoCertificate(
            f"there is no thermometer {serial!r} in this record (there are {known})"
        ) from None


def _conformity(
    found: Characteristic, ordered: OrderedItem, thermometer: Thermometer, begun: date
) -> ClassJudgement | None:
    if ordered.decision_rule is None or ordered.rule_agreed is None:
        return None
    if not ordered.rule_agreed <= begun:
        raise NoCertificate(
            f"{ordered.serial}: the decision rule was agreed on {ordered.rule_agreed}, after the measurement "
            f"began on {begun}; a rule is agreed before the work, or no conformity is stated"
        )
    wanted = tolerance_class(ordered.tolerance_class, thermometer.construction)
    return judge_class(found, wanted, thermometer.nominal_r0_ohm, Rule[ordered.decision_rule.upper()])


def _day(utc_s: float) -> date:
    return datetime.fromtimestamp(utc_s, UTC).date()
