"""Points, temperatures and coefficients of a record: as reported then, and as today's program finds them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daemon.fitting.exchange import plain_result
from daemon.journal.read import RecordError
from daemon.results.calibrate import ItemResult, calibrate
from daemon.review.recompute import difference
from daemon.review.state import read_review
from plans.run_plan import RunPlan


@dataclass(frozen=True, slots=True)
class Coefficient:
    """One coefficient, then and now, in its own unit; None where the equation has none."""

    name: str
    then: float | None
    now: float | None


@dataclass(frozen=True, slots=True)
class ResultChange:
    """One thermometer: how its result differs from a version written down (empty: every digit is the same).

    `temperature_mk` and `resistance_mk` are the largest changes of a point's mean temperature and of its
    mean resistance, the latter divided by dR/dt; `points` counts those compared.
    """

    version: str
    serial: str
    points: int
    points_then: int
    temperature_mk: float
    resistance_mk: float
    curve: str
    coefficients: tuple[Coefficient, ...]

    @property
    def same(self) -> bool:
        """True when neither a point nor the characteristic has changed."""
        moved = self.temperature_mk or self.resistance_mk or self.points != self.points_then
        return not (moved or self.curve)


def compare_results(record: Path, report: Path) -> list[ResultChange]:
    """Today's results against each accepted version and the report folder's, where there are such.

    Raises RecordError, PlanError, FittingError.
    """
    found: list[ResultChange] = []
    for one in read_review(record).acceptances:
        then = {serial: {"characteristic": c} for serial, c in one.results.items()}
        found += _compared(record, f"accepted by {one.by.name}", then, one.by.seq)
    path = report / "coefficients.json"
    if path.is_file():
        try:
            document = json.loads(path.read_text(encoding="utf-8"))
            then = {t["serial"]: t for t in document["thermometers"]}
            found += _compared(record, "report", then, document["record"]["entries"])
        except (ValueError, KeyError, TypeError) as problem:
            raise RecordError(f"{path}: not the coefficients of a report ({problem!r})") from problem
    return found


def compare_plans(record: Path, run: RunPlan) -> list[ResultChange]:
    """What was measured, evaluated by another plan, against the same by the recorded plan.

    Only where the points would have been measured alike. Raises RecordError, PlanError, FittingError.
    """
    then = {item.serial: _written(item) for item in calibrate(record).items}
    now = {item.serial: item for item in calibrate(record, otherwise=run).items}
    return [_change("the recorded plan", serial, was, now.get(serial)) for serial, was in then.items()]


def _written(item: ItemResult) -> Mapping[str, Any]:
    curve = item.characteristic
    points = [
        {"index": p.index, "temperature_c": p.temperature_c, "resistance_ohm": p.resistance_ohm}
        for p in item.points
    ]
    return {"characteristic": None if curve is None else plain_result(curve), "points": points}


def _compared(
    record: Path, version: str, then: Mapping[str, Mapping[str, Any]], upto: int
) -> list[ResultChange]:
    now = {item.serial: item for item in calibrate(record, upto).items}
    return [_change(version, serial, was, now.get(serial)) for serial, was in then.items()]


def _change(version: str, serial: str, was: Mapping[str, Any], now: ItemResult | None) -> ResultChange:
    points = {point.index: point for point in now.points} if now is not None else {}
    told = was.get("points", [])
    pairs = [(p, points[p["index"]]) for p in told if p["index"] in points]
    moved_c = [abs(p["temperature_c"] - q.temperature_c) for p, q in pairs]
    moved_k = [abs(p["resistance_ohm"] - q.resistance_ohm) / q.sensitivity_ohm_per_k for p, q in pairs]
    return ResultChange(
        version,
        serial,
        len(pairs),
        len(told),
        1e3 * max(moved_c, default=0.0),
        1e3 * max(moved_k, default=0.0),
        _curve(was.get("characteristic"), now),
        _coefficients(was.get("characteristic"), now),
    )


def _curve(then: Mapping[str, Any] | None, now: ItemResult | None) -> str:
    characteristic = now.characteristic if now is not None else None
    if then is None:
        return "" if characteristic is None else "has a characteristic now, had none"
    return difference(then, characteristic)


def _coefficients(then: Mapping[str, Any] | None, now: ItemResult | None) -> tuple[Coefficient, ...]:
    characteristic = now.characteristic if now is not None else None
    new = plain_result(characteristic)["parameters"] if characteristic is not None else {}
    old = (then or {}).get("parameters", {})
    return tuple(Coefficient(name, old.get(name), new.get(name)) for name in {**old, **new})
