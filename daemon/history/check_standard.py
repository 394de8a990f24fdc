"""What the check standard says of a night: does it still read by this reference what it always read?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from statistics import fmean

from daemon.certified import certified
from daemon.fitting.errors import FittingError
from daemon.history.chart import Chart, control_chart
from daemon.history.past import Past, past_of
from daemon.results.calibrate import ItemResult, NightResult
from daemon.results.numbers import signed, uncertainty

NO_CHECK_STANDARD = "no check standard with a certificate was read in this run: nothing watched the reference"


@dataclass(frozen=True, slots=True)
class CheckStandard:
    """Its differences in mK from its certificate, by one reference, oldest run first and this one last.

    `allowed_mk`: what the expanded uncertainties of the two certificates together leave room for.
    """

    serial: str
    reference: str
    days: tuple[datetime, ...]
    differences_mk: tuple[float, ...]
    allowed_mk: float
    chart: Chart

    @property
    def suspect(self) -> bool:
        """Whether the chart calls for action: then nothing is accepted without a stated reason."""
        return self.chart.marks[-1] == "action"

    @property
    def apart(self) -> bool:
        """Whether the certificates disagree: |En| > 1, as ISO/IEC 17043 compares results."""
        return not abs(self.differences_mk[-1]) <= self.allowed_mk

    @property
    def sentence(self) -> str:
        """In words, with figures."""
        since = self.chart.suspect_since
        suspect = f"; suspect since {self.days[since]:%Y-%m-%d}" if since is not None else ""
        return (
            f"check standard {self.serial} by reference {self.reference}: "
            f"{signed(self.differences_mk[-1], 2, 'mK')} from its certificate "
            f"(the two certificates leave room for ±{uncertainty(self.allowed_mk)}); "
            f"control chart: {self.chart.sentence}{suspect}"
        )

    def flags(self) -> Iterator[str]:
        """What to look at before anyone signs."""
        if self.suspect:
            yield f"The {self.sentence}. Every point since the last good run is in doubt."
        elif self.apart or self.chart.marks[-1] == "warning":
            yield f"The {self.sentence}."


def check_standard_of(night: NightResult, past: Past) -> CheckStandard | None:
    """The check standard of the newest run of `past`; None when none with a certificate was read in it."""
    item = next((one for one in night.items if certified_difference_mk(night, one) is not None), None)
    if item is None:
        return None
    reference = night.run.reference.serial
    found = [
        (run.opened, difference_mk)
        for run in past.runs
        if run.night.run.reference.serial == reference
        for one in run.night.items
        if one.serial == item.serial
        and (difference_mk := certified_difference_mk(run.night, one)) is not None
    ]
    days, differences_mk = zip(*found, strict=True)
    return CheckStandard(
        item.serial, reference, days, differences_mk, _allowed_mk(night, item), control_chart(differences_mk)
    )


def check_standard_in(record: Path, night: NightResult) -> CheckStandard | None:
    """The same, with the runs in the folder of the record."""
    return check_standard_of(night, past_of(record, night))


def certified_difference_mk(night: NightResult, item: ItemResult) -> float | None:
    """Mean over the settled points of a check standard: by its own certificate minus by the reference."""
    calibration = night.run.thermometer(item.serial).calibration
    if item.role != "check_standard" or calibration is None:
        return None
    own = certified(calibration)
    covered = [
        point for point in item.points if point.settled and calibration.covers(point.set_temperature_c)
    ]
    away_k = []
    for point in covered:
        try:
            away_k.append(own.temperature_c(point.resistance_ohm) - point.temperature_c)
        except FittingError:  # a few millikelvin beyond the end of its certificate
            continue
    return 1e3 * fmean(away_k) if away_k else None


def _allowed_mk(night: NightResult, item: ItemResult) -> float:
    both = (night.run.thermometer(item.serial).calibration, night.run.reference.calibration)
    return math.hypot(*(one.expanded_uncertainty_mk for one in both if one is not None))
