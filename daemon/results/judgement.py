"""The night in words: how it ended, and everything that a person must look at before signing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from daemon.history.check_standard import CheckStandard
from daemon.history.since_last import SinceLast, surprises
from daemon.journal.entry import Kind
from daemon.journal.read import Verification
from daemon.results.calibrate import ItemResult, NightResult
from daemon.results.numbers import clock, counted, duration, point_name
from daemon.results.story import Said, Story
from daemon.states import HALTED, State
from plans.unroll import Step, measuring_steps

SIMULATED = "SIMULATED — not a calibration"
_STABLE_WITHIN_MK = {"sprt": 1.0, "semi_standard": 5.0, "iprt": 5.0}  # common practice, no source


@dataclass(frozen=True, slots=True)
class Judgement:
    """`headline` says it in one sentence, `why` the cause of a halt (or nothing).

    `flags` a person must look at before signing; `notes` are worth knowing and spoil nothing.
    """

    good: bool
    headline: str
    why: str
    flags: tuple[str, ...]
    notes: tuple[str, ...] = ()


def judge_night(
    night: NightResult,
    story: Story,
    record: Verification,
    check: CheckStandard | None = None,
    since: Sequence[SinceLast] = (),
) -> Judgement:
    """Judge a night from its results, its story, its record, its check standard and the runs before."""
    flags = (
        *(check.flags() if check is not None else ()),
        *surprises(since),
        *_record_flags(story, record),
        *_point_flags(night, story),
        *_reference_flags(night),
        *_identity_flags(story),
        *_item_flags(night),
        *_guard_flags(story),
    )
    headline, why = _ending(night, story, len(flags))
    whole = story.phases.state == State.FINISHED and len(night.points) == len(_to_measure(night, story))
    return Judgement(whole and not flags, headline, why, flags, _notes(night))


def _ending(night: NightResult, story: Story, flags: int) -> tuple[str, str]:
    """The headline, and why it is not a better one."""
    state, planned, measured = story.phases.state, len(_to_measure(night, story)), len(night.points)
    flagged = f"{counted(flags, 'thing')} to look at" if flags else "nothing was flagged"
    rest = f"{measured} of {counted(planned, 'point')} measured, {_brought(night)}; {flagged}."
    if state == State.FINISHED and measured == planned:
        return f"Finished: {rest}", ""
    if state == State.FINISHED:
        return f"Finished early: {rest}", _ended_early(story)
    if state in HALTED:
        return f"Halted: {rest}", _why_halted(story)
    return f"Not ended: {rest}", f"The record ends while the run was {state}, without a closing entry."


def _to_measure(night: NightResult, story: Story) -> list[Step]:
    """The steps with readings; annealing that was not needed any more is none of them."""
    marks = (one.body for one in story.of_kind(Kind.MILESTONE))
    spared = {mark["index"] for mark in marks if mark["mark"] == "annealing_not_needed"}
    steps = measuring_steps(night.run)
    return [step for step in steps if step.kind != "anneal" and step.index not in spared]


def _notes(night: NightResult) -> tuple[str, ...]:
    """What is no danger to anyone: small residuals, in one sentence for all, and readings that stand out."""
    small = [item.serial for item in night.items if _only_smaller(item)]
    told = [
        f"{item.serial}: {counted(len(point.quality.outliers), 'reading')} of {point.readings} at point "
        f"{point_name(point.index, point.set_temperature_c, point.label)} flagged; nothing was left out."
        for item in night.items
        for point in item.points
        if point.quality.outliers
    ]
    if small:
        told.append(
            f"{', '.join(small)}: chi-squared below its 95 % bounds, the residuals are smaller than the "
            "budget expects; a random term may be overstated."
        )
    return tuple(told)


def _only_smaller(item: ItemResult) -> bool:
    """Whether a chi-squared below its bounds is all that was found."""
    fit = item.characteristic.fit if item.characteristic is not None else None
    if fit is None or fit.findings.chi_squared_bounds is None:
        return False
    return len(fit.findings.sentences) == 1 and fit.chi_squared < fit.findings.chi_squared_bounds[0]


def _brought(night: NightResult) -> str:
    fitted = sum(item.characteristic is not None for item in night.items)
    return f"{fitted} of {counted(len(night.items), 'thermometer')} with a characteristic"


def _why_halted(story: Story) -> str:
    """The changes of state since the run last went on: behind a hold that nobody ended stands its cause."""
    trail: list[Said] = []
    for one in story.of_kind(Kind.STATE):
        trail = [] if one.body["to"] == State.RUNNING else [*trail, one]
    steps = [
        f"{clock(one.utc_s)} UTC, after {duration(one.when_s)}, {one.body['to']}: {one.body['cause']}."
        for one in trail
        if one.body["to"] != State.PARKED
    ]
    return " ".join(steps)


def _ended_early(story: Story) -> str:
    ends = [m for m in story.of_kind(Kind.MILESTONE) if m.body["mark"] == "run_ended_early"]
    return f"{clock(ends[0].utc_s)} UTC: {ends[0].body['reason']}." if ends else ""


def _record_flags(story: Story, record: Verification) -> list[str]:
    flags = []
    if not record.intact:
        flags.append(f"The record is not what was written: {record.problem}. Nothing here may be relied on.")
    if not record.closed:
        flags.append("The record has no closing entry: the program ended before the run did.")
    for one in story.of_kind(Kind.INTERRUPTION):
        flags.append(f"{clock(one.utc_s)} UTC interruption: {one.body['reason']}")
    for gap in story.gaps:
        span = f"{clock(story.utc_s(gap.start_s))} to {clock(story.utc_s(gap.end_s))} UTC"
        flags.append(f"{span}: nobody looked at the source for {duration(gap.end_s - gap.start_s)}.")
    return flags


def _point_flags(night: NightResult, story: Story) -> list[str]:
    flags = []
    for point in night.points:
        name = f"Point {point_name(point.index, point.temperature_c, point.label)}:"
        if not point.settled:
            flags.append(
                f"{name} no equilibrium within its longest wait; it is kept but not used in the fits."
            )
        if point.soaked_again:
            flags.append(f"{name} soaked and read again after an interruption.")
    finished = {point.index for point in night.points}
    skipped = {
        said.body["index"]: said.body["reason"]
        for said in story.of_kind(Kind.MILESTONE)
        if said.body["mark"] == "point_skipped"
    }
    for step in _to_measure(night, story):
        if step.index not in finished:
            how = f"skipped, {skipped[step.index]}" if step.index in skipped else "not measured"
            flags.append(f"Point {point_name(step.index, step.temperature_c, step.label)}: {how}.")
    return flags


def _reference_flags(night: NightResult) -> list[str]:
    first = night.run.reference.serial
    return [
        f"References {first} and {one.serial} are {abs(one.difference_mk):.2f} mK apart at point "
        f"{one.index + 1} ({one.temperature_c:.1f} °C); their certificates leave room for "
        f"±{one.allowed_mk:.2f} mK: one of them has changed, or the source is not uniform."
        for one in night.references
        if not one.agrees
    ]


def _identity_flags(story: Story) -> list[str]:
    doubted = [m.body for m in story.of_kind(Kind.MILESTONE) if m.body["mark"] == "identity_doubted"]
    return [f"{body['name']} {body['reason']}." for body in doubted]


def _item_flags(night: NightResult) -> list[str]:
    return [f"{item.serial}: {sentence}" for item in night.items for sentence in item_sentences(item)]


def item_sentences(item: ItemResult) -> list[str]:
    """What is to be looked at with one thermometer: its problem, or what the fit found."""
    if item.characteristic is None:
        return [f"no characteristic: {item.problem or 'nothing was measured'}."]
    fit, told = item.characteristic.fit, _not_stable(item)
    if _only_smaller(item) or fit is None:
        return told
    return [*told, *(f"{sentence}." for sentence in fit.findings.sentences)]


def _not_stable(item: ItemResult) -> list[str]:
    """A change over the run beyond what a thermometer of its kind may show, and beyond doubt (k = 2)."""
    shift_mk = item.return_mk if item.shift_mk is None else item.shift_mk
    limit_mk = _STABLE_WITHIN_MK[item.kind]
    if shift_mk is None or abs(shift_mk) <= limit_mk + 2.0 * item.shift_standard_mk:
        return []
    what = "at the return point" if item.shift_mk is None else "of R0"
    return [
        f"not stable: a change {what} of {shift_mk:+.1f} mK over the run, common practice allows "
        f"{limit_mk:g} mK; half of it is in the budget."
    ]


def _guard_flags(story: Story) -> list[str]:
    return [
        f"{clock(one.utc_s)} UTC guard {one.body['guard']}: {one.body['sentence']}"
        for one in story.of_kind(Kind.VERDICT)
    ]
