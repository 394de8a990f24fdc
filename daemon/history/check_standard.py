"""What the check standard says of a night: does it still read by this reference what it always read?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from daemon.history.chart import Chart, control_chart
from daemon.history.past import Past
from daemon.history.visits import Visit
from daemon.results.calibrate import NightResult
from daemon.results.numbers import signed, uncertainty

NO_CHECK_STANDARD = (
    "no check standard with a certificate was read in this run: no control chart watched the reference"
)


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
    own = next((v for v in past.newest if v.role == "check_standard" and v.check_mk is not None), None)
    if own is None:
        return None
    checked, chart = charted(past.of(own.serial))
    return CheckStandard(
        own.serial,
        own.reference,
        tuple(visit.opened for visit in checked),
        tuple(visit.check_mk for visit in checked if visit.check_mk is not None),
        _allowed_mk(night, own.serial),
        chart,
    )


def charted(visits: Sequence[Visit]) -> tuple[list[Visit], Chart]:
    """The runs with the newest run's check standard and reference, oldest first, and their control chart.

    Another reference or another check standard begins another chart.
    """
    checked = [visit for visit in visits if visit.check_mk is not None]
    same = [visit for visit in checked if _pair(visit) == _pair(checked[-1])]
    return same, control_chart([visit.check_mk for visit in same if visit.check_mk is not None])


def _pair(visit: Visit) -> tuple[str, str]:
    return visit.check_standard, visit.reference


def _allowed_mk(night: NightResult, serial: str) -> float:
    both = (night.run.thermometer(serial).calibration, night.run.reference.calibration)
    return math.hypot(*(one.expanded_uncertainty_mk for one in both if one is not None))
