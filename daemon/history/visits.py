"""One run of one thermometer, in the figures that its history is made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from statistics import fmean
from typing import Any

from daemon.certified import certified
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.comparison import furthest_apart_mk
from daemon.fitting.errors import FittingError
from daemon.fitting.exchange import from_dict, plain_result
from daemon.history.heat import Heat, heat_by_thermometer
from daemon.journal.read import read_opening
from daemon.preparation import channels_of
from daemon.results.calibrate import ItemResult, NightResult
from daemon.results.immersion import Immersion


@dataclass(frozen=True, slots=True)
class Visit:
    """One run of a thermometer; `record` is the file's name.

    R0 in ohm before and after the points, shift in mK (`return_mk` at another return point); `heat` is what
    it met. `check_mk` is the mean difference of the run's check standard (its own, when it is one) from its
    certificate by the run's reference. `characteristic` is the fitted equation with its uncertainty as plain
    data, without points.
    """

    record: str
    opened: datetime
    simulated: bool
    serial: str
    role: str
    reference: str
    r0_before_ohm: float | None
    r0_after_ohm: float | None
    shift_mk: float | None
    return_mk: float | None
    heat: Heat
    characteristic: dict[str, Any] | None
    check_standard: str
    check_mk: float | None
    immersion: tuple[Immersion, ...]

    @property
    def r0_ohm(self) -> float | None:
        """R0 at the end of the run, or at its beginning where the end has none."""
        return self.r0_after_ohm if self.r0_after_ohm is not None else self.r0_before_ohm

    @property
    def coefficients(self) -> Mapping[str, float]:
        """Those of the characteristic; none without one."""
        return {} if self.characteristic is None else self.characteristic["parameters"]

    def apart_mk(self, certificate: Characteristic) -> float | None:
        """How far the characteristic is, at most, from a certificate; None where they share no range."""
        if self.characteristic is None:
            return None
        try:
            return furthest_apart_mk(from_dict(self.characteristic), certificate)
        except FittingError:
            return None


def visits_of(record: Path, night: NightResult) -> tuple[Visit, ...]:
    """What an evaluated record says of each of its thermometers, the reference first; raises RecordError."""
    opening, heat = read_opening(record), heat_by_thermometer(record, night.run)
    items = {item.serial: item for item in night.items}
    checks = {
        serial: difference_mk
        for serial, item in items.items()
        if (difference_mk := _certified_difference_mk(night, item)) is not None
    }
    found = []
    for facts in channels_of(night.run).values():
        if facts.role == "head":
            continue
        item = items.get(facts.name)
        check = facts.name if facts.role == "check_standard" else next(iter(checks), "")
        found.append(
            Visit(
                record=record.name,
                opened=opening.utc,
                simulated=opening.body["simulated"],
                serial=facts.name,
                role=facts.role,
                reference=night.run.plan.reference.serial,
                r0_before_ohm=item.r0_before_ohm if item else None,
                r0_after_ohm=item.r0_after_ohm if item else None,
                shift_mk=item.shift_mk if item else None,
                return_mk=item.return_mk if item else None,
                heat=heat[facts.name],
                characteristic=_equation(item),
                check_standard=check,
                check_mk=checks.get(check),
                immersion=item.immersion if item else (),
            )
        )
    return tuple(found)


def _equation(item: ItemResult | None) -> dict[str, Any] | None:
    if item is None or item.characteristic is None:
        return None
    return plain_result(item.characteristic)


def _certified_difference_mk(night: NightResult, item: ItemResult) -> float | None:
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
