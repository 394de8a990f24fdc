"""What a certificate tells of the night: everything flagged, exclusions and amendments, no other names."""

from __future__ import annotations

from daemon.fitting.comparison import furthest_apart_mk
from daemon.journal.read import Verification
from daemon.results.calibrate import ItemResult, NightResult
from daemon.results.item_points import item_points
from daemon.results.judgement import judge_night
from daemon.results.numbers import day_and_clock, fixed
from daemon.results.story import Story
from daemon.review.state import Review

OTHER = "another thermometer"


def remarks_of(night: NightResult, story: Story, record: Verification, item: ItemResult) -> list[str]:
    """Sentences about the run and this thermometer; other customers' thermometers are not named."""
    others = [one.serial for one in night.items if one.serial != item.serial]
    judged = judge_night(night, story, record)
    flags = [flag for flag in judged.flags if not flag.startswith(tuple(f"{serial}: " for serial in others))]
    own = [
        *_check_standard(night.review),
        *_surprise(night.review, item.serial),
        *_excluded(night, item),
        *_both_fits(item),
        *_amended(night.review, item.serial),
    ]
    told = [*([judged.why] if judged.why else []), *flags]
    return [f"{_unnamed(sentence, others).rstrip('.')}." for sentence in told] + own


def _check_standard(review: Review) -> list[str]:
    accepted = review.accepted
    if accepted is None or not accepted.check_suspect:
        return []
    return [
        f"The {accepted.check_standard}. {accepted.by.name} accepted the results all the same: "
        f"{accepted.remark}."
    ]


def _surprise(review: Review, serial: str) -> list[str]:
    accepted = review.accepted
    if accepted is None or serial not in accepted.surprises:
        return []
    return [
        f"{accepted.surprises[serial]}. {accepted.by.name} accepted the results all the same: "
        f"{accepted.remark}."
    ]


def _unnamed(sentence: str, others: list[str]) -> str:
    # Longest first: one serial may be the beginning of another.
    for serial in sorted(others, key=len, reverse=True):
        sentence = sentence.replace(serial, OTHER)
    return sentence


def _excluded(night: NightResult, item: ItemResult) -> list[str]:
    return [
        f"Point {point.number} ({fixed(point.reduced.temperature_c, 3, '°C')}) is not in the fit: "
        f"{point.excluded_because}."
        for point in item_points(night, item)
        if point.excluded_because and point.reduced.settled  # the others are flagged already
    ]


def _both_fits(item: ItemResult) -> list[str]:
    found = item.characteristic
    if found is None or found.with_excluded is None:
        return []
    apart = fixed(furthest_apart_mk(found, found.with_excluded), 2, "mK")
    return [
        f"With the points left out put back, the characteristic would differ by at most {apart}; "
        f"chi-squared would be {found.with_excluded.chi_squared:.2f} instead of {found.chi_squared:.2f}."
    ]


def _amended(review: Review, serial: str) -> list[str]:
    return [
        f"Amended on {day_and_clock(one.by.utc_s)} by {one.by.name}: {one.change}. Reason: {one.reason}."
        for one in review.amendments
        if one.serial in ("", serial)
    ]
