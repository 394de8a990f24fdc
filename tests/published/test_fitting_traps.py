"""Traps that were measured: each is walked into on purpose, so that it stays known and stays shut."""

from __future__ import annotations

import numpy as np
import pytest

from daemon.fitting import callendar_van_dusen as cvd
from daemon.fitting.equation_callendar_van_dusen import CallendarVanDusen
from daemon.fitting.equation_its90 import its90_form
from daemon.fitting.fit import fit_characteristic
from daemon.fitting.least_squares import solve
from daemon.fitting.points import PointResult
from daemon.fitting.type_a import pool, type_a
from daemon.fitting.uncertainty import Component


def test_an_unscaled_pseudo_inverse_is_silently_wrong_on_callendar_van_dusen_and_ours_is_not():
    """Columns 1, t, t², (t-100)t³ span nine decades; the squared condition is beyond doubles."""
    t = np.linspace(-195, 420, 12)
    design = np.stack([np.ones_like(t), t, t**2, cvd.cold_term(t)], axis=1)
    truth = np.array([100.0, 0.39083, -5.775e-5, -4.183e-10])
    observed = design @ truth
    scaled = solve(design, observed, np.eye(12))
    assert scaled.estimate == pytest.approx(truth, rel=1e-9)
    naive = np.linalg.pinv(design.T @ design) @ design.T @ observed
    assert np.abs(design @ (naive - truth)).max() > 1e3 * np.abs(design @ (scaled.estimate - truth)).max()


def test_autocorrelated_readings_count_for_fewer():
    """AR(1) with 0.9 makes 2000 readings worth about 105; s/√n of independent ones is 4.4 times too small."""
    generator = np.random.default_rng(8)
    for phi, worth in ((0.0, 2000), (0.6, 500), (0.9, 105)):
        found = [type_a(_ar1(generator, phi, 2000)).effective_count for _ in range(40)]
        assert np.median(found) == pytest.approx(worth, rel=0.15)


def _ar1(generator: np.random.Generator, phi: float, count: int) -> np.ndarray:
    noise = generator.normal(size=count + 200) * np.sqrt(1 - phi**2)
    series = np.empty_like(noise)
    series[0] = noise[0]
    for i in range(1, noise.size):
        series[i] = phi * series[i - 1] + noise[i]
    return series[200:]


def test_the_stated_uncertainty_of_a_mean_holds_for_autocorrelated_readings():
    generator = np.random.default_rng(9)
    inside, naive, runs = 0, 0, 400
    for _ in range(runs):
        series = _ar1(generator, 0.9, 600)
        found = type_a(series)
        inside += abs(found.mean) < 2 * found.standard_of_mean
        naive += abs(found.mean) < 2 * series.std(ddof=1) / 600**0.5
    assert inside / runs > 0.90 > 0.5 > naive / runs - 0.2


@pytest.mark.parametrize(("readings", "own", "pooled"), [(3, (0.5, 0.72), 0.90), (5, (0.72, 0.87), 0.92)])
def test_a_few_readings_are_weighed_by_their_pooled_scatter(readings, own, pooled):
    """Own s of three readings with k = 2 covers 58 to 69 %; a pooled s about 94 %."""
    generator = np.random.default_rng(10)
    t, form, theta = np.linspace(0, 200, 8), CallendarVanDusen(), np.array([100.0, cvd.IEC_A, cvd.IEC_B])
    truth, grid, hits = form.at(t).resistance_ohm(theta), np.linspace(0, 200, 5), {True: 0, False: 0}
    runs = 300
    for _ in range(runs):
        series = list(truth[:, None] + generator.normal(size=(8, readings)) * 1e-3)
        groups = [type_a(row, independent=True) for row in series]
        together = pool(series, independent=True)
        for is_pooled in (True, False):
            sizes = [together.of_mean(readings) if is_pooled else g.standard_of_mean for g in groups]
            rows = zip(t, groups, sizes, strict=True)
            points = [PointResult(f"{x:g}", float(x), g.mean, max(u, 1e-9)) for x, g, u in rows]
            fitted = fit_characteristic(points, form)
            error = (fitted.resistance_ohm(grid) - form.at(grid).resistance_ohm(theta)) / 0.38
            hits[is_pooled] += np.mean(np.abs(error) < 2 * fitted.standard_uncertainty_k(grid))
    assert own[0] < hits[False] / runs < own[1]
    assert hits[True] / runs > pooled


def test_stem_loss_bends_the_result_and_chi_squared_says_nothing():
    """10 µK per kelvin above ambient, unmodelled: 6 mK at 660 °C and the residuals stay as they were."""
    form, theta = its90_form(None, "3.3.2.1"), np.array([25.5, -2.4e-4, -1.7e-5, 4e-6])
    t = np.array([0.01, 50, 100, 156, 232, 300, 420, 550, 660.0])
    clean = form.at(t).resistance_ohm(theta)
    lost = form.at(t - 10e-6 * (t - 23)).resistance_ohm(theta)
    budget = [Component("reference", 1, divisor=2), Component("uniformity", 0.5, "mK", correlation="random")]
    fits = [
        fit_characteristic(
            [PointResult(f"{x:g}", float(x), float(r), 1e-5) for x, r in zip(t, ohms, strict=True)],
            "its90",
            budget,
        )
        for ohms in (clean, lost)
    ]
    assert fits[1].chi_squared < 0.1 and "larger" not in " ".join(fits[1].fit.findings.sentences)
    error_mk = 1e3 * (float(fits[1].temperature_c(float(clean[-2]))) - 550)
    assert error_mk == pytest.approx(5.3, abs=0.3)
    assert error_mk > 3e3 * float(fits[1].standard_uncertainty_k(550.0))


def test_dropping_the_correlations_states_too_small_an_uncertainty():
    """The same sizes, declared random instead of common: the fit then averages what it cannot average."""
    t = np.linspace(0, 200, 10)
    ohms = CallendarVanDusen().at(t).resistance_ohm(np.array([100.0, cvd.IEC_A, cvd.IEC_B]))
    points = [PointResult(f"{x:g}", float(x), float(r), 1e-4) for x, r in zip(t, ohms, strict=True)]
    right, dropped = (
        fit_characteristic(points, "callendar_van_dusen", [Component("reference", 5, correlation=c)])
        for c in ("common", "random")
    )
    middle = 100.0
    assert float(right.standard_uncertainty_k(middle)) == pytest.approx(5e-3, rel=0.01)
    assert float(dropped.standard_uncertainty_k(middle)) < 0.6 * float(right.standard_uncertainty_k(middle))


def test_callendar_van_dusen_forced_on_a_wide_range_is_caught_by_the_residuals():
    """A thermometer that follows the ITS-90, 0 °C to 420 °C: the form misfits by about 20 mK."""
    t = np.linspace(0, 419, 10)
    form, theta = its90_form(None, "3.3.2.2"), np.array([100.0, -1.95e-2, -2e-4])
    ohms = form.at(t).resistance_ohm(theta)
    points = [PointResult(f"{x:g}", float(x), float(r), 4e-4) for x, r in zip(t, ohms, strict=True)]
    fitted = fit_characteristic(points, "callendar_van_dusen", [Component("reference", 4, divisor=2)])
    assert 10 < max(map(abs, fitted.residuals_mk)) < 30
    assert not fitted.fit.findings.fine
    assert fit_characteristic(points, "its90").chi_squared < 1e-6


def test_a_point_taken_too_early_is_found_among_its_neighbours_but_not_at_the_end():
    form, theta = its90_form(None, "3.3.2.1"), np.array([25.5, -2.4e-4, -1.7e-5, 4e-6])
    t = np.array([0.01, 50, 100, 156, 232, 300, 420, 550, 660.0])
    budget = [Component("reference", 1, divisor=2)]

    def suspects(index: int) -> tuple[int, ...]:
        short = np.zeros(t.size)
        short[index] = -3e-3
        ohms = form.at(t + short).resistance_ohm(theta)
        rows = zip(t, ohms, strict=True)
        fitted = fit_characteristic(
            [PointResult(f"{x:g}", float(x), float(r), 5e-5) for x, r in rows], "its90", budget
        )
        return fitted.fit.findings.suspects

    assert 4 in suspects(4)
    assert 8 not in suspects(8)
