"""A characteristic as plain data for a file, and back. Infinite degrees of freedom are written as null."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import numpy as np

from daemon.fitting import equations
from daemon.fitting.characteristic import Characteristic, Factor, FitRecord
from daemon.fitting.errors import FittingError
from daemon.fitting.points import PointResult
from daemon.fitting.residuals import Findings
from daemon.fitting.uncertainty import Component

_LARGEST = 1e9


def to_dict(characteristic: Characteristic) -> dict[str, Any]:
    """JSON-ready; every digit kept."""
    other = characteristic.with_excluded
    return {
        "equation": characteristic.equation.to_dict(),
        "parameters": dict(zip(characteristic.equation.parameters, characteristic.theta, strict=True)),
        "range_c": list(characteristic.range_c),
        "factors": [_plain(_factor_dict(factor)) for factor in characteristic.factors],
        "added": [_plain(asdict(component)) for component in characteristic.added],
        "reason": characteristic.reason,
        "cautions": list(characteristic.cautions),
        "fit": characteristic.fit and _plain(asdict(characteristic.fit)),
        "with_excluded": other and to_dict(other),
    }


def plain_result(characteristic: Characteristic) -> dict[str, Any]:
    """Equation, parameters and uncertainty, without the points they were fitted to."""
    return to_dict(characteristic) | {"fit": None, "with_excluded": None}


def from_dict(data: Mapping[str, Any]) -> Characteristic:
    """The characteristic that `to_dict` described; raises FittingError naming what is missing or unusable."""
    try:
        return _read(data)
    except FittingError:
        raise
    except (KeyError, TypeError, AttributeError, ValueError, OverflowError, RecursionError) as problem:
        raise FittingError(f"this is not a characteristic as it was written: {problem!r}") from problem


def _read(data: Mapping[str, Any]) -> Characteristic:
    other = data["with_excluded"]
    low, high = map(_number, data["range_c"])
    for value in data["equation"].values():
        if isinstance(value, int | float):
            _number(value)
    equation = equations.from_dict(data["equation"])
    return Characteristic(
        equation=equation,
        theta=tuple(_number(data["parameters"][name]) for name in equation.parameters),
        range_c=(low, high),
        factors=tuple(_factor(factor) for factor in data["factors"]),
        added=tuple(_component(component) for component in data["added"]),
        reason=data["reason"],
        cautions=tuple(data["cautions"]),
        fit=data["fit"] and _record(data["fit"]),
        with_excluded=other and from_dict(other),
    )


def _number(value: Any) -> float:
    """A number that a characteristic can mean; infinity and its like are none."""
    if not abs(float(value)) <= _LARGEST:
        raise ValueError(f"{value} is no number of a characteristic")
    return float(value)


def _factor_dict(factor: Factor) -> dict[str, Any]:
    return {
        "name": factor.name,
        "distribution": factor.distribution,
        "degrees_of_freedom": factor.degrees_of_freedom,
        "matrix": factor.matrix.tolist(),
    }


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return None if isinstance(value, float) and math.isinf(value) else value


def _freedom(value: float | None) -> float:
    return math.inf if value is None else value


def _factor(data: Mapping[str, Any]) -> Factor:
    return Factor(
        data["name"],
        data["distribution"],
        _freedom(data["degrees_of_freedom"]),
        np.array(data["matrix"], dtype=np.float64),
    )


def _component(data: Mapping[str, Any]) -> Component:
    given = dict(data)
    given["degrees_of_freedom"] = _freedom(given["degrees_of_freedom"])
    given["table"] = tuple((float(t), float(factor)) for t, factor in given["table"])
    return Component(**given)


def _point(data: Mapping[str, Any]) -> PointResult:
    given = dict(data)
    given["random_degrees_of_freedom"] = _freedom(given["random_degrees_of_freedom"])
    given["components"] = tuple(_component(component) for component in given["components"])
    return PointResult(**given)


def _record(data: Mapping[str, Any]) -> FitRecord:
    findings = data["findings"]
    bounds = findings["chi_squared_bounds"]
    return FitRecord(
        points=tuple(_point(point) for point in data["points"]),
        components=tuple(_component(component) for component in data["components"]),
        residuals_mk=tuple(data["residuals_mk"]),
        point_standard_mk=tuple(data["point_standard_mk"]),
        leave_one_out=tuple(data["leave_one_out"]),
        chi_squared=data["chi_squared"],
        degrees_of_freedom=data["degrees_of_freedom"],
        findings=Findings(
            findings["fine"],
            bounds and tuple(bounds),
            tuple(findings["suspects"]),
            tuple(findings["sentences"]),
        ),
    )
