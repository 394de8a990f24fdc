"""How early, and how often too early, the end of a transient is foretold; run as a script, it prints figures.

Approaches: one reading a second with noise of 1 mK, white or AR(1) with 0.9; a single exponential from 0.5 K
with a time constant of 120 to 600 s, or two of them (4 % of it 2.5 times slower). The oracle knows the
noiseless curve: it answers in the first second in which what is left lies within the limit. An answer before
the oracle's is a false accept; an answer after it has lost time.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass
from random import Random

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter  # type: ignore[import-untyped]

from daemon.rolling import RollingLine
from daemon.transient import Transient

LONGEST_S = 5200
WINDOW_S = 900.0
NOISE_MK = 1.0
START_MK = 500.0
LASTING_MK_PER_MIN = 0.5
DRIFT_WINDOW_S, DRIFT_MK = 600.0, 2.0


@dataclass(frozen=True)
class Score:
    """Over many approaches: share of answers before the oracle's, and seconds lost by the others."""

    false_accepts: float
    median_lost_s: float
    lost_95_s: float
    never: int


def approach(two: bool, alike: float, chance: Random) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """One approach: noiseless curve and readings, both in mK from the final temperature."""
    when_s = np.arange(LONGEST_S, dtype=float)
    if two:
        tau_s = chance.uniform(120.0, 240.0)
        clean = START_MK * (0.96 * np.exp(-when_s / tau_s) + 0.04 * np.exp(-when_s / (2.5 * tau_s)))
    else:
        clean = START_MK * np.exp(-when_s / chance.uniform(120.0, 600.0))
    return clean, clean + noise(alike, chance)


def noise(alike: float, chance: Random) -> NDArray[np.float64]:
    """Readings' noise in mK, each resembling the one before by `alike`."""
    white = np.random.default_rng(chance.getrandbits(63)).standard_normal(LONGEST_S)
    if not alike:
        return NOISE_MK * white
    fresh = np.sqrt(1.0 - alike**2) * white
    fresh[0] = white[0]
    return NOISE_MK * np.asarray(lfilter([1.0], [1.0, -alike], fresh))


def first_over(readings_mk: NDArray[np.float64], limit_mk: float) -> int | None:
    """The first second in which the transient is called over."""
    transient = Transient(WINDOW_S, limit_mk)
    for second, value in enumerate(readings_mk.tolist()):
        transient.add(float(second), 1e-3 * value)
        if second >= WINDOW_S - 2 and transient.share <= 1.0:
            return second
    return None


def score(two: bool, alike: float, limit_mk: float, runs: int, seed: int) -> Score:
    """Judge `runs` approaches."""
    chance = Random(f"{seed}/{two}/{alike}/{limit_mk}")
    lost, early, never = [], 0, 0
    for _ in range(runs):
        clean, readings = approach(two, alike, chance)
        oracle = int(np.argmax(clean <= limit_mk))
        found = first_over(readings, limit_mk)
        if found is None:
            never += 1
        elif found < oracle:
            early += 1
        else:
            lost.append(found - oracle)
    middle_s, late_s = (float(np.percentile(lost, part)) for part in (50, 95)) if lost else (np.nan, np.nan)
    return Score(early / runs, middle_s, late_s, never)


def lasting_drift_refused(alike: float, runs: int, seed: int) -> float:
    """Share of runs in which a drift of 0.5 mK/min for ever never meets 2 mK in ten minutes."""
    chance, refused = Random(f"{seed}/lasting/{alike}"), 0
    for _ in range(runs):
        line, met = RollingLine(DRIFT_WINDOW_S), False
        drifting = noise(alike, chance) + LASTING_MK_PER_MIN / 60.0 * np.arange(LONGEST_S)
        for second, value in enumerate(drifting.tolist()):
            line.add(float(second), value)
            met = met or (second >= DRIFT_WINDOW_S and abs(line.slope) * DRIFT_WINDOW_S <= DRIFT_MK)
        refused += not met
    return refused / runs


def cost_us(readings: int) -> float:
    """Microseconds for one reading with its judgement, the window holding so many."""
    transient, values = Transient(float(readings), 3.0), noise(0.0, Random(1)).tolist()
    for second in range(2 * readings):
        transient.add(float(second), values[second % LONGEST_S])
    before = time.perf_counter()
    for second in range(2 * readings, 2 * readings + 10_000):
        transient.add(float(second), values[second % LONGEST_S])
        _ = transient.share
    return (time.perf_counter() - before) * 100.0


def _line(limit_mk: float, alike: float, two: bool, found: Score) -> str:
    kind = f"{'AR(1) 0.9' if alike else 'white':>10} {'two exponentials' if two else 'one exponential':>16}"
    never = f", {found.never} never" if found.never else ""
    return (
        f"{limit_mk:4.0f} mK {kind} {100 * found.false_accepts:8.1f} % "
        f"{found.median_lost_s:11.0f} s {found.lost_95_s:5.0f} s{never}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--runs", type=int, default=300, help="approaches for each line (default 300)")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    print(f"{args.runs} approaches a line, first passage, window {WINDOW_S:g} s")
    print(f"{'limit':>6} {'noise':>10} {'approach':>16} {'too early':>10} {'lost, median':>13} {'95 %':>7}")
    for limit_mk in (3.0, 1.0):
        for alike in (0.0, 0.9):
            for two in (False, True):
                found = score(two, alike, limit_mk, args.runs, args.seed)
                print(_line(limit_mk, alike, two, found), flush=True)
    for alike in (0.0, 0.9):
        refused = lasting_drift_refused(alike, max(20, args.runs // 10), args.seed)
        print(
            f"a lasting {LASTING_MK_PER_MIN} mK/min, {'AR(1) 0.9' if alike else 'white'}: "
            f"kept out by {DRIFT_MK:g} mK in ten minutes in {100 * refused:.0f} % of runs"
        )
    print(
        "cost of a reading: "
        + ", ".join(f"{cost_us(n):.1f} µs with {n} in the window" for n in (60, 600, 3600))
    )


if __name__ == "__main__":
    main()
