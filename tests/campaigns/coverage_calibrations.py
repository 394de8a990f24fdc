"""Calibrations with a known truth: nature draws the errors, the laboratory evaluates what it could read.

Nature is written apart from the fitting: it draws half-widths, standard deviations and correlations by
itself and turns them into millikelvins by itself, so that a slip in the program's own sensitivities would
show as lost coverage. The thermometer's R(t) comes from the equations, which published tables vouch for.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from daemon.fitting.choice import misfit_component
from daemon.fitting.equation import Equation
from daemon.fitting.equation_callendar_van_dusen import CallendarVanDusen
from daemon.fitting.equation_its90 import its90_form
from daemon.fitting.fit import fit_characteristic
from daemon.fitting.points import PointResult, triple_point_result
from daemon.fitting.type_a import pool, type_a
from daemon.fitting.uncertainty import Component

COVERAGE = 0.95
GRID = 13

Array = np.ndarray


@dataclass(frozen=True)
class Calibration:
    """A kind of calibration: the thermometer, its true spread, the points, the budget and the readings."""

    name: str
    equation: str
    truth: Equation
    theta: tuple[float, ...]
    theta_spread: tuple[float, ...]
    temperatures_c: tuple[float, ...]
    budget: tuple[Component, ...]
    between: tuple[Component, ...] = ()
    readings: int = 20
    reading_mk: float = 2.0
    autocorrelation: float = 0.0
    cell_standard_mk: float | None = None

    @property
    def range_c(self) -> tuple[float, float]:
        """The range calibrated."""
        return self.temperatures_c[0], self.temperatures_c[-1]


@dataclass(frozen=True)
class Habits:
    """How the laboratory evaluates; the defaults are right, each other choice is a known trap."""

    correlations_dropped: bool = False
    own_scatter: bool = False
    readings_taken_as_independent: bool = False
    equation: str | None = None
    misfit_line: bool = False
    stem_loss_k_per_k: float = 0.0


@dataclass(frozen=True)
class Outcome:
    """Errors and stated U in K over the grid, chi-squared and its degrees of freedom, of one calibration."""

    error_k: Array
    expanded_k: Array
    chi_squared: float
    degrees_of_freedom: int


@dataclass
class Tally:
    """Coverage over many calibrations."""

    name: str
    grid_c: Array
    inside: Array = field(default_factory=lambda: np.zeros(GRID))
    all_inside: int = 0
    trials: int = 0
    chi_squared_per_freedom: float = 0.0

    def add(self, outcome: Outcome) -> None:
        """Count one calibration."""
        hit = np.abs(outcome.error_k) <= outcome.expanded_k
        self.inside += hit
        self.all_inside += bool(hit.all())
        self.chi_squared_per_freedom += outcome.chi_squared / max(outcome.degrees_of_freedom, 1)
        self.trials += 1

    @property
    def coverage(self) -> Array:
        """Share of calibrations whose interval held the truth, at each grid temperature."""
        return self.inside / self.trials

    @property
    def standard_error(self) -> float:
        """Binomial standard error of one coverage figure at 95 %."""
        return float(np.sqrt(COVERAGE * (1 - COVERAGE) / self.trials))


def draw(component: Component, t: Array, ohms: Array, slope: Array, generator: np.random.Generator) -> Array:
    """(n,) errors in K as nature draws them for one term of the budget."""
    count = 1 if component.correlation == "common" else t.size
    size = component.size
    if component.distribution == "rectangular":
        value = generator.uniform(-size, size, count)
    elif component.distribution == "triangular":
        value = generator.triangular(-size, 0.0, size, count)
    else:
        value = generator.normal(0.0, size / (component.divisor or 1.0), count)
    if component.unit == "mK":
        kelvin = value * 1e-3 * np.ones(t.size)
    else:
        kelvin = value * (1.0 if component.unit == "ohm" else 1e-6 * ohms) / slope
    return kelvin * (t - component.ambient_c) / 100 if component.shape == "ambient_excess" else kelvin


def autoregressive(phi: float, rows: int, count: int, generator: np.random.Generator) -> Array:
    """(rows, count) readings of unit standard deviation with lag-one correlation `phi`."""
    noise = generator.normal(size=(rows, count))
    for i in range(1, count):
        noise[:, i] = phi * noise[:, i - 1] + np.sqrt(1 - phi * phi) * noise[:, i]
    return noise


def calibrate(kind: Calibration, generator: np.random.Generator, habits: Habits = Habits()) -> Outcome:
    """One calibration from nature's draw to the error of its result."""
    theta = np.array(kind.theta) + np.array(kind.theta_spread) * generator.uniform(-1, 1, len(kind.theta))
    places = np.array(kind.temperatures_c)
    places = places + generator.uniform(-0.02, 0.02, places.size)
    places[[0, -1]] = kind.range_c
    grid = kind.truth.at(places)
    ohms = grid.resistance_ohm(theta)
    slope = grid.linearise(ohms, theta).sensitivity_ohm_per_k
    error_k = sum((draw(term, places, ohms, slope, generator) for term in kind.budget), np.zeros(places.size))
    error_k = error_k - habits.stem_loss_k_per_k * (places - 23.0)
    noise = (
        kind.reading_mk * 1e-3 * autoregressive(kind.autocorrelation, places.size, kind.readings, generator)
    )
    readings = (ohms + error_k * slope)[:, None] + noise * slope[:, None]
    points = _evaluated(places, readings / slope[:, None], slope, habits)
    points += _cell(kind, theta, generator)
    return _judged(kind, theta, points, habits, generator)


def _evaluated(places: Array, readings_k: Array, slope: Array, habits: Habits) -> list[PointResult]:
    sizes, freedom = _scatter(readings_k, habits)
    rows = zip(places, readings_k.mean(axis=1) * slope, sizes * slope, strict=True)
    return [PointResult(f"{t:.3f} °C", float(t), float(ohms), float(u), freedom) for t, ohms, u in rows]


def _scatter(readings_k: Array, habits: Habits) -> tuple[Array, float]:
    if habits.own_scatter:
        own = [type_a(row, independent=True).standard_of_mean for row in readings_k]
        return np.array(own), float("inf")
    pooled = pool(list(readings_k), independent=habits.readings_taken_as_independent)
    return np.full(len(readings_k), pooled.of_mean(readings_k.shape[1])), pooled.degrees_of_freedom


def _cell(kind: Calibration, theta: Array, generator: np.random.Generator) -> list[PointResult]:
    if kind.cell_standard_mk is None:
        return []
    grid = kind.truth.at(np.array([0.01]))
    ohms = grid.resistance_ohm(theta)
    standard = float(kind.cell_standard_mk * 1e-3 * grid.linearise(ohms, theta).sensitivity_ohm_per_k[0])
    return [triple_point_result(float(ohms[0]) + generator.normal() * standard, standard, "after")]


def _judged(
    kind: Calibration, theta: Array, points: list[PointResult], habits: Habits, generator: np.random.Generator
) -> Outcome:
    budget, between = kind.budget, kind.between
    if habits.correlations_dropped:
        budget = tuple(replace(term, correlation="random") for term in budget)
    if habits.misfit_line:
        line = misfit_component(*kind.range_c)
        budget, between = (*budget, line), (*between, line)
    fitted = fit_characteristic(
        points, habits.equation or kind.equation, budget, between_points=between, range_c=kind.range_c
    )
    where = np.linspace(*kind.range_c, GRID)
    grid = kind.truth.at(where)
    ohms = grid.resistance_ohm(theta)
    slope = grid.linearise(ohms, theta).sensitivity_ohm_per_k
    error = (fitted.resistance_ohm(where) - ohms) / slope
    error = error + sum((draw(term, where, ohms, slope, generator) for term in kind.between), np.zeros(GRID))
    stated = fitted.uncertainty_at(where, COVERAGE)
    return Outcome(error, stated.expanded_k, fitted.chi_squared, fitted.degrees_of_freedom)


def run(kind: Calibration, trials: int, seed: int, habits: Habits = Habits(), name: str = "") -> Tally:
    """Many calibrations of one kind, seeded."""
    generator = np.random.default_rng(seed)
    tally = Tally(name or kind.name, np.linspace(*kind.range_c, GRID))
    for _ in range(trials):
        tally.add(calibrate(kind, generator, habits))
    return tally


def _term(name: str, size: float, correlation: str = "common", shape: str = "constant") -> Component:
    return Component(name, size, "mK", "rectangular", correlation=correlation, shape=shape)


# Half-widths in mK: common practice, no source.
BATH = (
    Component("reference calibration", 4, "mK", "normal", 2),
    _term("reference drift", 3),
    _term("reference self-heating", 0.5),
    Component("reference resistor", 0.5, "ppm", "rectangular", shape="resistance"),
    _term("readout of the reference", 1),
    Component("readout of the item", 0.4e-3, "ohm", "rectangular"),
    _term("stability of the bath", 2, "random"),
    _term("uniformity of the bath", 3),
    _term("stem conduction", 3, shape="ambient_excess"),
    _term("self-heating", 1),
    _term("return of R0", 2),
)
BLOCK = (
    Component("reference calibration", 15, "mK", "normal", 2),
    _term("reference drift", 10),
    _term("readout of the reference", 3),
    Component("readout of the item", 1.2e-3, "ohm", "rectangular"),
    _term("stability of the block", 15, "random"),
    _term("axial uniformity", 16, shape="ambient_excess"),
    _term("radial uniformity", 8, shape="ambient_excess"),
    _term("loading", 20),
    _term("stem conduction", 11, shape="ambient_excess"),
)
SPRT_BATH = (
    Component("reference calibration", 1.0, "mK", "normal", 2),
    _term("reference drift", 0.3),
    Component("ratio", 0.5, "ppm", "rectangular", shape="resistance"),
    _term("stability of the bath", 0.6, "random"),
    _term("uniformity of the bath", 0.8, shape="ambient_excess"),
    _term("stem conduction", 0.3, shape="ambient_excess"),
)


def _hysteresis(size: float) -> Component:
    return _term("hysteresis", size, "random")


_IPRT = (100.0, 3.9083e-3, -5.775e-7, -4.183e-12)
_IPRT_SPREAD = (0.05, 5e-6, 1e-9, 2e-13)
_SPRT_HIGH = (25.5, -2.4e-4, -1.7e-5)

CALIBRATIONS = (
    Calibration(
        "bath, Callendar-Van Dusen, -40 to 160 °C",
        "callendar_van_dusen",
        CallendarVanDusen(None),
        _IPRT,
        _IPRT_SPREAD,
        (-40.0, -20.0, 0.0, 25.0, 50.0, 80.0, 110.0, 135.0, 160.0),
        (*BATH, _hysteresis(3.5)),
        (_hysteresis(3.5),),
        autocorrelation=0.3,
    ),
    Calibration(
        "bath, ITS-90, -80 to 200 °C with a water cell",
        "its90",
        its90_form("3.3.1.3", "3.3.2.3"),
        (25.5, -2.3e-4, 1.3e-5, -2.4e-4, -1.7e-5),
        (0.01, 4e-5, 5e-6, 4e-5, 5e-6),
        (-80.0, -60.0, -38.0, -15.0, 30.0, 70.0, 110.0, 155.0, 200.0),
        SPRT_BATH,
        readings=60,
        reading_mk=1.0,
        autocorrelation=0.5,
        cell_standard_mk=0.1,
    ),
    Calibration(
        "dry block, Callendar-Van Dusen, 30 to 400 °C",
        "callendar_van_dusen",
        CallendarVanDusen(),
        _IPRT[:3],
        _IPRT_SPREAD[:3],
        (30.0, 75.0, 120.0, 170.0, 220.0, 280.0, 340.0, 400.0),
        (*BLOCK, _hysteresis(20)),
        (_hysteresis(20),),
        reading_mk=10.0,
        autocorrelation=0.6,
        readings=60,
    ),
    Calibration(
        "dry block, ITS-90, 0 to 415 °C",
        "its90",
        its90_form(None, "3.3.2.2"),
        (100.0, -1.95e-2, -2.1e-4),
        (0.05, 2e-4, 2e-5),
        (0.01, 50.0, 100.0, 160.0, 230.0, 300.0, 360.0, 415.0),
        (*BLOCK, _hysteresis(20)),
        (_hysteresis(20),),
        reading_mk=10.0,
        autocorrelation=0.6,
        readings=60,
    ),
)

# A calibration in which the readings' noise is everything: for the traps about scatter.
NOISY = Calibration(
    "noise only, ITS-90, 0 to 230 °C",
    "its90",
    its90_form(None, "3.3.2.3"),
    _SPRT_HIGH,
    (0.01, 4e-5, 5e-6),
    (0.01, 30.0, 60.0, 90.0, 120.0, 155.0, 190.0, 230.0),
    (),
    readings=5,
    reading_mk=2.0,
)
WIDE = Calibration(
    "wide range, item follows the ITS-90, 0 to 415 °C",
    "its90",
    its90_form(None, "3.3.2.2"),
    (100.0, -1.95e-2, -2.1e-4),
    (0.05, 2e-4, 2e-5),
    (0.01, 50.0, 100.0, 160.0, 230.0, 300.0, 360.0, 415.0),
    BATH,
)
