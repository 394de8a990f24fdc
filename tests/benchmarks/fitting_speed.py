"""Speed of the fitting as ratios of methods run one after another on this machine.

Run from the repository's root: python -m tests.benchmarks.fitting_speed [--quick]
Every row says what is compared, the figure and its bar; the exit status is 1 when a bar is missed.
Figures of a shared machine scatter: each is the best of several repeats.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from daemon.fitting import its90
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.equation_its90 import Its90Form, its90_form
from daemon.fitting.fit import characteristic_of, fit_characteristic, solve_points
from daemon.fitting.monte_carlo import monte_carlo
from daemon.fitting.points import PointResult
from daemon.fitting.uncertainty import Component

TEMPERATURES_C = np.array([0.01, 50.0, 100.0, 156.6, 231.9, 300.0, 419.5, 550.0, 660.3])
GRID_C = np.linspace(0.01, 660.3, 21)
THETA = (25.5, -2.4e-4, -1.7e-5, 4e-6)
BUDGET = (
    Component("reference", 0.5),
    Component("reference drift", 0.3, shape="ambient_excess"),
    Component("ratio", 0.2, "ppm", shape="resistance"),
    Component("gradient", 0.2, shape="ambient_excess", ambient_c=100.0),
    Component("uniformity", 0.3, correlation="random"),
)


@dataclass(frozen=True)
class Row:
    """One line of the report; `bar` is met when `figure` is at most (or at least) it."""

    what: str
    figure: float
    unit: str
    bar: float
    at_most: bool = True

    @property
    def met(self) -> bool:
        """Whether the bar is met."""
        return self.figure <= self.bar if self.at_most else self.figure >= self.bar

    def __str__(self) -> str:
        sign = "≤" if self.at_most else "≥"
        figure = f"{self.figure:10.4g} {self.unit:<6} {sign} {self.bar:g}"
        return f"{'ok  ' if self.met else 'MISS'} {self.what:<72} {figure}"


def best_s(task: Callable[[], object], repeats: int = 7, calls: int = 1) -> float:
    """Shortest time of one call, in seconds."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        for _ in range(calls):
            task()
        times.append((time.perf_counter() - start) / calls)
    return min(times)


def published_high(ratio: np.ndarray) -> np.ndarray:
    """(10b) by Horner in place: 0.134 mK off."""
    x = (ratio - 2.64) / 1.64
    y = np.full_like(x, its90._D_DOWN[0])
    for coefficient in its90._D_DOWN[1:]:
        y *= x
        y += coefficient
    return y


def published_low(ratio: np.ndarray) -> np.ndarray:
    """(9b) by Horner in place: 0.096 mK off."""
    x = (np.sqrt(np.cbrt(ratio)) - 0.65) / 0.35
    y = np.full_like(x, its90._B_DOWN[0])
    for coefficient in its90._B_DOWN[1:]:
        y *= x
        y += coefficient
    return y * 273.16 - 273.15


def conversion(count: int) -> list[Row]:
    """R to t on arrays and on one value."""
    from scipy.optimize import brentq

    generator, rows = np.random.default_rng(1), []
    for name, branch, published, span in (
        ("high", its90.HIGH, published_high, (1.0, 4.2864)),
        ("low", its90.LOW, published_low, (0.2160, 0.999999)),
    ):
        ratio = generator.uniform(*span, count)
        pairs = [
            (best_s(lambda w=ratio: its90.temperature_c(w), 1), best_s(lambda w=ratio, f=published: f(w), 1))
            for _ in range(25)
        ]
        ours, theirs = (min(times) for times in zip(*pairs, strict=True))
        few = ratio[:300]
        bracket = (-0.5, 962.0) if name == "high" else (-189.4, 0.5)

        def loop(values=few, one=branch, ends=bracket) -> list[float]:
            return [brentq(lambda t, w=w: one.ratio(np.array(t)) - w, *ends, xtol=1e-10) for w in values]

        slow = best_s(loop, repeats=2) / few.size
        off = np.abs(its90.temperature_c(ratio) - branch.newton_c(ratio, steps=4)).max()
        rows += [
            Row(
                f"{name}: exact inverse against the published one, {count:.0e} values",
                ours / theirs,
                "times",
                1.5,
            ),
            Row(f"{name}: largest error against Newton", off, "K", 1e-9),
            Row(f"{name}: faster than a brentq loop by", slow * count / ours, "times", 1000.0, at_most=False),
        ]
        each, beside = 1e9 * ours / count, 1e9 * theirs / count
        print(f"     {name}: {each:.2f} ns a value, published inverse {beside:.2f} ns")
    sprt = Characteristic(its90_form(None, "3.3.2.1"), THETA, (0.01, 660.0))
    rows.append(
        Row(
            "one resistance to t90, plain Python",
            1e6 * best_s(lambda: sprt.temperature_c(60.0), 500, 100),
            "µs",
            2.0,
        )
    )
    return rows


def nine_points() -> list[PointResult]:
    """A noisy calibration to 660 °C."""
    form = its90_form(None, "3.3.2.1")
    ohms = form.at(TEMPERATURES_C).resistance_ohm(np.array(THETA))
    ohms = ohms + np.random.default_rng(2).normal(size=ohms.size) * 2e-5
    rows = zip(TEMPERATURES_C, ohms, strict=True)
    return [PointResult(f"{t:g} °C", float(t), float(r), 2e-5) for t, r in rows]


def gtc_fit(points: list[PointResult]) -> Callable[[], list[float]]:
    """The same problem by automatic differentiation: generalised least squares on uncertain numbers.

    R = R_tpw·Wr(t) + Σ b_k (W-1)^k with all inputs uncertain, common errors shared, every row taken through
    the same whitening matrix, four unknowns by elimination, then u of t90 at 21 resistances.
    """
    import GTC

    form = its90_form(None, "3.3.2.1")
    whiten = [list(map(float, row)) for row in solve_points(points, form, BUDGET).solution.whitener]
    wr, slope = its90.reference_ratio(TEMPERATURES_C), its90.reference_slope_per_k(TEMPERATURES_C)
    per_kelvin = [THETA[0] * float(s) for s in slope]
    grid_ohm = form.at(GRID_C).resistance_ohm(np.array(THETA))
    grid_slope = its90.reference_slope_per_k(GRID_C)

    def run() -> list[float]:
        offset, drift, gradient = (GTC.ureal(0, s) for s in (0.5e-3, 0.3e-3, 0.2e-3))
        scale = GTC.ureal(1, 0.2e-6)
        rows, right = [], []
        for p, reference, steepness in zip(points, wr, slope, strict=True):
            t = p.temperature_c
            error = offset + drift * ((t - 23) / 100) + gradient * ((t - 100) / 100) + GTC.ureal(0, 0.3e-3)
            ohms = GTC.ureal(p.resistance_ohm, 2e-5) * scale
            excess = ohms / THETA[0] - 1
            rows.append([float(reference) + float(steepness) * error, excess, excess**2, excess**3, ohms])
        white = [
            [sum(w * row[k] for w, row in zip(weights, rows, strict=True) if w) for k in range(5)]
            for weights in ([w / s for w, s in zip(row, per_kelvin, strict=True)] for row in whiten)
        ]
        b = eliminate([row[:4] for row in white], [row[4] for row in white])
        for ohms, steepness in zip(grid_ohm, grid_slope, strict=True):
            excess = float(ohms) / THETA[0] - 1
            reference = (float(ohms) - b[1] * excess - b[2] * excess**2 - b[3] * excess**3) / b[0]
            right.append(GTC.uncertainty(reference) / float(steepness))
        return right

    return run


def eliminate(rows: list[list[object]], right: list[object]) -> list[object]:
    """Normal equations by elimination, for any number type."""
    size = len(rows[0])
    matrix = [[sum(r[i] * r[j] for r in rows) for j in range(size)] for i in range(size)]
    vector = [sum(r[i] * y for r, y in zip(rows, right, strict=True)) for i in range(size)]
    for i in range(size):
        for k in range(size):
            if k != i:
                factor = matrix[k][i] / matrix[i][i]
                matrix[k] = [x - factor * y for x, y in zip(matrix[k], matrix[i], strict=True)]
                vector[k] = vector[k] - factor * vector[i]
    return [vector[i] / matrix[i][i] for i in range(size)]


def fitting() -> list[Row]:
    """A nine-point fit with its covariance and u(t) at 21 temperatures."""
    points, differentiated = nine_points(), gtc_fit(nine_points())
    form = its90_form(None, "3.3.2.1")

    def fit() -> np.ndarray:
        return characteristic_of(solve_points(points, form, BUDGET)).standard_uncertainty_k(GRID_C)

    ours = best_s(fit, 2000)
    judged = best_s(lambda: fit_characteristic(points, "its90", BUDGET), 500)
    print(f"     with the judgement of its residuals, without u(t): {1e3 * judged:.3f} ms")
    gtc = best_s(differentiated, 50)
    stated = fit_characteristic(points, "its90", BUDGET).standard_uncertainty_k(GRID_C)
    off = np.abs(np.array(differentiated()) / stated - 1).max()
    return [
        Row("nine-point fit, covariance and u(t) at 21 temperatures", 1e3 * ours, "ms", 0.3),
        Row("the same by automatic differentiation (GTC) takes", gtc / ours, "times", 15.0, at_most=False),
        Row("largest difference between the two in u(t)", 100 * off, "%", 0.1),
    ]


def trials(count: int) -> list[Row]:
    """Monte Carlo of the whole fit against a loop over single fits and against the propagation."""
    points, form = nine_points(), its90_form(None, "3.3.2.1")
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    start = time.perf_counter()
    found = monte_carlo(points, form, BUDGET, GRID_C, trials=count, seed=3)
    ours = time.perf_counter() - start
    ours = min(ours, best_s(lambda: monte_carlo(points, form, BUDGET, GRID_C, trials=count, seed=3), 3))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    fitted = fit_characteristic(points, form, BUDGET)
    off = np.abs(found.standard_k / fitted.standard_uncertainty_k(GRID_C) - 1).max()
    one = best_s(lambda: single_trial(points, form), 200)
    return [
        Row(f"Monte Carlo, {count:.0e} trials, 21 temperatures with intervals", ours, "s", 0.8),
        Row(f"its peak resident memory (before: {before:.0f} MiB)", peak, "MiB", 400.0),
        Row("a loop over single trials takes", one * count / ours, "times", 100.0, at_most=False),
        Row(
            "largest difference from the propagated u(t)",
            100 * off,
            "%",
            0.3 * max(1.0, (1e6 / count) ** 0.5),
        ),
    ]


def single_trial(points: list[PointResult], form: Its90Form) -> np.ndarray:
    """One trial as a loop would do it: disturbed readings, least squares, temperatures back."""
    t = np.array([p.temperature_c for p in points])
    ohms = np.array([p.resistance_ohm for p in points]) + np.random.default_rng(1).normal(size=t.size) * 2e-5
    grid, theta = form.at(t), np.array(THETA)
    for _ in range(2):
        now = grid.linearise(ohms, theta)
        theta = theta + np.linalg.lstsq(now.gradient_k, now.residual_k, rcond=None)[0]
    return form.temperature_c(form.at(GRID_C).resistance_ohm(np.array(THETA)), theta)


def main() -> int:
    """Print the rows; 1 when a bar is missed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a tenth of the size: a look, not a figure")
    quick = parser.parse_args().quick
    size = 100_000 if quick else 1_000_000
    rows = [*trials(size), *conversion(size), *fitting()]
    print("\n".join(map(str, rows)))
    return 0 if all(row.met for row in rows) else 1


if __name__ == "__main__":
    raise SystemExit(main())
