"""Each thermometer's new result beside that of its last run: drift beyond both uncertainties surprises."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from daemon.fitting.comparison import compare
from daemon.fitting.errors import FittingError
from daemon.fitting.exchange import from_dict
from daemon.history.past import Past
from daemon.history.visits import Visit
from daemon.results.numbers import fixed, signed


@dataclass(frozen=True, slots=True)
class SinceLast:
    """The largest |En| between two runs (ISO/IEC 17043), where it lies in °C, and the drift there in mK.

    Both runs may go back to one reference: their uncertainties are then partly the same, and |En| is small.
    """

    serial: str
    record: str
    last: datetime
    t90_c: float
    drift_mk: float
    en: float

    @property
    def agrees(self) -> bool:
        """|En| ≤ 1; NaN does not agree."""
        return self.en <= 1.0

    @property
    def sentence(self) -> str:
        """In words, with figures."""
        drift = f"{signed(self.drift_mk, 2, 'mK')} at {fixed(self.t90_c, 1, '°C')}"
        told = "agrees with" if self.agrees else "differs from"
        return (
            f"{self.serial} {told} its run of {self.last:%Y-%m-%d} ({self.record}): "
            f"{drift}, largest |En| {self.en:.2f}"
        )


def since_last(past: Past) -> tuple[SinceLast, ...]:
    """Every calibrated thermometer of the newest run that had a result before."""
    found = (compared(past.of(visit.serial)) for visit in past.newest)
    return tuple(one for one in found if one is not None)


def compared(visits: Sequence[Visit]) -> SinceLast | None:
    """The newest of a thermometer's visits beside the last one before it that shares a range with it."""
    *before, newest = visits
    return next((one for visit in reversed(before) if (one := _beside(newest, visit)) is not None), None)


def surprises(found: Sequence[SinceLast]) -> Iterator[str]:
    """What to look at before anyone signs."""
    for one in found:
        if not one.agrees:
            yield f"{one.sentence}: find out what happened to it before anyone signs."


def _beside(now: Visit, then: Visit) -> SinceLast | None:
    if now.characteristic is None or then.characteristic is None:
        return None
    try:
        told = compare(from_dict(now.characteristic), from_dict(then.characteristic))
    except FittingError:
        return None
    worst = int(np.argmax(np.abs(told.en)))
    where_c, drift_mk, en = (float(one[worst]) for one in (told.temperature_c, told.drift_mk, told.en))
    return SinceLast(now.serial, then.record, then.opened, where_c, drift_mk, abs(en))
