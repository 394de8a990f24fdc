"""What a calibration hands to the fit: one result a point, and the sources of error behind all of them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from daemon.fitting.arrays import FloatArray
from daemon.fitting.errors import FittingError
from daemon.fitting.uncertainty import Component
from drivers.quantities import TRIPLE_POINT_OF_WATER_C

REPEATABILITY = "repeatability"


@dataclass(frozen=True)
class PointResult:
    """One calibration point of one thermometer.

    `temperature_c` is t90 of the reference, `resistance_ohm` the item's mean resistance, `random_ohm` the
    standard uncertainty of that mean (from a pooled s, see type_a) with its degrees of freedom.
    `components` act at this point only, common ones of one name as one unknown over the points that name
    them (a bath's gradient, say). `independent` marks a fixed point realised without the reference
    thermometer: the terms of the whole calibration do not act on it. An excluded point states its cause.
    """

    label: str
    temperature_c: float
    resistance_ohm: float
    random_ohm: float
    random_degrees_of_freedom: float = math.inf
    components: tuple[Component, ...] = ()
    excluded_because: str | None = None
    independent: bool = False

    def __post_init__(self) -> None:
        problem = self._problem()
        if problem:
            raise FittingError(f"point {self.label!r}: {problem}")

    def _problem(self) -> str:
        checks = (
            (bool(self.label.strip()), "has no label"),
            (-273.15 < self.temperature_c < 1100, f"temperature {self.temperature_c} °C is absurd"),
            (0 < self.resistance_ohm < 1e5, f"resistance {self.resistance_ohm} Ω is absurd"),
            (0 <= self.random_ohm < self.resistance_ohm, f"random uncertainty {self.random_ohm} Ω is absurd"),
            (self.random_degrees_of_freedom >= 1, "degrees of freedom are below 1"),
            (
                self.excluded_because is None or bool(self.excluded_because.strip()),
                "is excluded without a cause: only a stated cause may exclude a point",
            ),
        )
        return next((text for fine, text in checks if not fine), "")


def triple_point_result(
    resistance_ohm: float, standard_uncertainty_ohm: float, choice: str, degrees_of_freedom: float = math.inf
) -> PointResult:
    """R(TPW) measured in its cell, as a point; `choice` records which: before, after, mean, nearest."""
    label = f"triple point of water ({choice})"
    return PointResult(
        label,
        TRIPLE_POINT_OF_WATER_C,
        resistance_ohm,
        standard_uncertainty_ohm,
        degrees_of_freedom,
        independent=True,
    )


class Source(NamedTuple):
    """One source of error on n points: (n,) signed standard uncertainties in K; common = one unknown."""

    name: str
    distribution: str
    degrees_of_freedom: float
    common: bool
    standard_k: FloatArray


def gather(
    points: Sequence[PointResult],
    components: Iterable[Component],
    resistance_ohm: FloatArray,
    sensitivity_ohm_per_k: FloatArray,
) -> list[Source]:
    """Every source of error acting on the points, repeatability first; arrays are (n,)."""
    temperature = np.array([point.temperature_c for point in points])
    acted_on = np.array([float(not point.independent) for point in points])
    where = (temperature, resistance_ohm, sensitivity_ohm_per_k)
    sources = [_repeatability(points, sensitivity_ohm_per_k)]
    # Many terms share one sensitivity (all those in mK, say): each is worked out once.
    sensitivities: dict[object, FloatArray] = {}
    for component in components:
        if component.size:
            kind = (component.unit, component.shape, component.ambient_c, component.table)
            if kind not in sensitivities:
                sensitivities[kind] = acted_on * component.kelvins_per_unit(*where)
            sources.append(_source(component, component.standard * sensitivities[kind]))
    own: dict[tuple[str, str], Source] = {}
    for index, point in enumerate(points):
        for component in point.components:
            at_point = np.zeros(len(points))
            at_point[index] = component.standard_k(*(array[index : index + 1] for array in where))[0]
            key = (component.name, component.correlation)
            known = own.get(key)
            total = at_point if known is None else known.standard_k + at_point
            own[key] = _source(component, total)
    return [*sources, *own.values()]


def _repeatability(points: Sequence[PointResult], sensitivity_ohm_per_k: FloatArray) -> Source:
    sizes = np.array([point.random_ohm for point in points]) / sensitivity_ohm_per_k
    dof = min(point.random_degrees_of_freedom for point in points)
    return Source(REPEATABILITY, "normal", dof, False, sizes)


def _source(component: Component, standard_k: FloatArray) -> Source:
    return Source(
        component.name,
        component.distribution,
        component.degrees_of_freedom,
        component.correlation == "common",
        standard_k,
    )


def covariance_k2(sources: Sequence[Source]) -> FloatArray:
    """(n, n) covariance of the points in K²: random parts on the diagonal, common parts fully correlated.

    Source of the rule: JCGM 100:2008 clause 5.2 and F.1.2.
    """
    random = [source.standard_k for source in sources if not source.common]
    common = [source.standard_k for source in sources if source.common]
    size = len(sources[0].standard_k) if sources else 0
    result = np.zeros((size, size))
    if common:
        rows = np.array(common)
        result += rows.T @ rows
    if random:
        result.flat[:: size + 1] += (np.array(random) ** 2).sum(axis=0)
    return result
