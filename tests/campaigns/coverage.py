"""Does the stated 95 % interval hold the truth 95 % of the time? A seeded campaign of simulated calibrations.

Run from the repository's root: python -m tests.campaigns.coverage --trials 2000 --seed 1
Prints the coverage over the range with its binomial standard error, for sound evaluations and known traps.
Exit status 1 when a sound evaluation leaves 95 % ± 1 % (and three standard errors) anywhere.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

from tests.campaigns.coverage_calibrations import CALIBRATIONS, COVERAGE, NOISY, WIDE, Habits, Tally, run

_BAND = 0.01


def sound(tally: Tally) -> bool:
    """Within 95 % ± 1 % at every temperature, three binomial standard errors allowed."""
    slack = _BAND + 3 * tally.standard_error
    return bool((abs(tally.coverage - COVERAGE) <= slack).all())


def line(tally: Tally) -> str:
    """One line of the report."""
    percent = 100 * tally.coverage
    return (
        f"{tally.name:<72} {percent.min():5.1f} … {percent.max():5.1f} %   "
        f"mean {percent.mean():5.1f} %   ± {100 * tally.standard_error:.2f}   "
        f"all {100 * tally.all_inside / tally.trials:5.1f} %   "
        f"chi²/dof {tally.chi_squared_per_freedom / tally.trials:.2f}"
    )


def over_range(tally: Tally) -> str:
    """Coverage at each temperature of the grid."""
    cells = (f"{t:.0f}: {100 * c:.1f}" for t, c in zip(tally.grid_c, tally.coverage, strict=True))
    return "      by °C  " + "  ".join(cells)


def traps(trials: int, seed: int) -> list[Tally]:
    """Evaluations known to be wrong: the coverage they reach."""
    bath, sprt = CALIBRATIONS[0], CALIBRATIONS[1]
    slow = replace(NOISY, readings=60, autocorrelation=0.9)
    few = replace(NOISY, readings=3)
    unseen = Habits(stem_loss_k_per_k=10e-6)
    forced = Habits(equation="callendar_van_dusen")
    lined = replace(forced, misfit_line=True)
    return [
        run(
            bath,
            trials,
            seed,
            Habits(correlations_dropped=True),
            "correlations dropped, bath, Callendar-Van Dusen",
        ),
        run(sprt, trials, seed, Habits(correlations_dropped=True), "correlations dropped, bath, ITS-90"),
        run(
            few, trials, seed, Habits(own_scatter=True), "3 readings a point, each point's own s and k = 1.96"
        ),
        run(few, trials, seed, Habits(), "3 readings a point, pooled s and its degrees of freedom"),
        run(
            slow,
            trials,
            seed,
            Habits(readings_taken_as_independent=True),
            "readings AR(1) 0.9 taken as independent",
        ),
        run(slow, trials, seed, Habits(), "readings AR(1) 0.9, counted for what they are worth"),
        run(
            sprt,
            trials,
            seed,
            unseen,
            "stem loss of 10 µK per K above ambient, not in the budget, bath, ITS-90",
        ),
        run(WIDE, trials, seed, forced, "Callendar-Van Dusen forced on 0 to 415 °C, no line for its misfit"),
        run(WIDE, trials, seed, lined, "the same with the misfit as a line of the budget"),
    ]


def main() -> int:
    """Print the report; 1 when a sound evaluation misses its coverage."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--no-traps", action="store_true", help="only the sound evaluations")
    asked = parser.parse_args()
    good = True
    print(f"{asked.trials} calibrations a line, seed {asked.seed}; lowest … highest coverage over the range")
    for kind in CALIBRATIONS:
        tally = run(kind, asked.trials, asked.seed)
        good &= sound(tally)
        print(
            line(tally) + ("" if sound(tally) else "   OUTSIDE 95 ± 1 %"),
            over_range(tally),
            sep="\n",
            flush=True,
        )
    if not asked.no_traps:
        print("traps, wrong on purpose unless said otherwise:")
        for tally in traps(asked.trials, asked.seed):
            print(line(tally), flush=True)
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())
