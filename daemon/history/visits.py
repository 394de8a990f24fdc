"""What a folder of records says of one thermometer: every run in which it took part, oldest first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from daemon.fitting.characteristic import Characteristic
from daemon.fitting.errors import FittingError
from daemon.history.check_standard import certified_difference_mk
from daemon.history.heat import Heat, heat_of
from daemon.journal.entry import Kind
from daemon.journal.read import RecordError, read_entries
from daemon.results.calibrate import ItemResult, NightResult, calibrate
from daemon.results.immersion import Immersion
from daemon.results.page_items import characteristics_apart_mk
from plans.errors import PlanError


@dataclass(frozen=True, slots=True)
class Visit:
    """One run of a thermometer.

    R0 in ohm before and after the points, shift in mK; `heat` is what it met; `check_mk` the mean difference
    of the run's check standard from its certificate by the run's reference (its own, when it is one);
    `from_certificate_mk` how far the run's characteristic is, at most, from a certificate that was given.
    """

    record: Path
    opened: datetime
    simulated: bool
    role: str
    reference: str
    r0_before_ohm: float | None
    r0_after_ohm: float | None
    shift_mk: float | None
    heat: Heat
    form: str
    coefficients: tuple[tuple[str, float], ...]
    from_certificate_mk: float | None
    check_mk: float | None
    immersion: tuple[Immersion, ...] = ()


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A record that could not be evaluated, and why."""

    record: Path
    reason: str


def visits(
    folder: Path, serial: str, certificate: Characteristic | None = None
) -> tuple[list[Visit], list[Unreadable]]:
    """All runs of a thermometer among the records of a folder (not of its sub-folders)."""
    found: list[Visit] = []
    unreadable: list[Unreadable] = []
    for record in sorted(folder.glob("*.record")):
        try:
            found += _visit(record, serial, certificate)
        except (RecordError, PlanError, FittingError, OSError) as error:
            unreadable.append(Unreadable(record, str(error)))
    return sorted(found, key=lambda visit: visit.opened), unreadable


def _visit(record: Path, serial: str, certificate: Characteristic | None) -> Iterator[Visit]:
    opening = next(read_entries(record, frozenset({Kind.OPENED})), None)
    if opening is None:
        raise RecordError(f"{record}: the record has no opening entry")
    if f'"{serial}"' not in opening.body["plan"]:
        return
    night = calibrate(record)
    channels = {name: channel for channel, name in night.run.channels.items()}
    if serial not in channels:
        return
    item = next((one for one in night.items if one.serial == serial), None)
    fitted = item.characteristic if item is not None else None
    yield Visit(
        record=record,
        opened=opening.utc,
        simulated=opening.body["simulated"],
        role="reference" if item is None else item.role,
        reference=night.run.plan.reference.serial,
        r0_before_ohm=item.r0_before_ohm if item else None,
        r0_after_ohm=item.r0_after_ohm if item else None,
        shift_mk=item.shift_mk if item else None,
        heat=heat_of(record, night.run, channels[serial]),
        form=fitted.equation.kind if fitted else "",
        coefficients=tuple(zip(fitted.equation.parameters, fitted.theta, strict=True)) if fitted else (),
        from_certificate_mk=_apart_mk(fitted, certificate),
        check_mk=_check_mk(night, item),
        immersion=item.immersion if item is not None else (),
    )


def _apart_mk(fitted: Characteristic | None, certificate: Characteristic | None) -> float | None:
    if fitted is None or certificate is None:
        return None
    if not max(fitted.range_c[0], certificate.range_c[0]) < min(fitted.range_c[1], certificate.range_c[1]):
        return None
    return characteristics_apart_mk(certificate, fitted)


def _check_mk(night: NightResult, item: ItemResult | None) -> float | None:
    checks = [one for one in night.items if one.role == "check_standard"]
    own = item if item is not None and item.role == "check_standard" else None
    wanted = own or (checks[0] if checks else None)
    return None if wanted is None else certified_difference_mk(night, wanted)
