"""Whole rehearsed nights over many seeds: is the stated uncertainty true?

    python -m tests.campaigns.nights --seeds 50 [--plan plans/examples/overnight.toml] [--processes 2]

Every seed draws other thermometers, another error of the reference within its certificate, other places in
the source, other noise. Printed: the share of interpolated temperatures whose error lies within U, and the
worst ratio of error to U. The share's standard error is taken over nights, since all thermometers of one
night share the reference's error.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from daemon.rehearsal import rehearse
from daemon.results.calibrate import calibrate
from daemon.validation.nights import ratios as ratios_of
from plans.loading import load_plan, with_seed

_PLACES = 41


def ratios_of_night(plan: str, seed: int) -> tuple[int, str, dict[str, list[float]]]:
    """Seed, last state, and |error|/U on a grid for each fitted thermometer."""
    run = with_seed(load_plan(Path(plan)), seed)
    with tempfile.TemporaryDirectory() as folder:
        record = Path(folder) / "night.record"
        rehearsal = rehearse(run, record)
        ratios = {}
        for item in calibrate(record).items:
            if item.characteristic is not None:
                ratios[item.serial] = ratios_of(item.characteristic, rehearsal, item.serial, _PLACES)
    return seed, str(rehearsal.outcome.state), ratios


def main() -> None:
    """Run the campaign and print its figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", default="plans/examples/overnight.toml")
    parser.add_argument("--seeds", type=int, default=50)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=2)
    args = parser.parse_args()
    seeds = range(args.first_seed, args.first_seed + args.seeds)
    began = time.monotonic()
    nights = []
    with ProcessPoolExecutor(args.processes) as pool:
        for night in pool.map(ratios_of_night, [args.plan] * len(seeds), seeds):
            nights.append(night)
            worst = {serial: max(values) for serial, values in night[2].items()}
            ratio = max(worst.values(), default=0.0)
            print(f"seed {night[0]:4d} {night[1]:9s} worst |error|/U {ratio:.2f}", flush=True)
    inside = np.array(
        [np.mean([r <= 1.0 for values in n[2].values() for r in values]) for n in nights if n[2]]
    )
    every = np.array([r for n in nights for values in n[2].values() for r in values])
    whole = np.mean([max(r for v in n[2].values() for r in v) <= 1.0 for n in nights if n[2]])
    print(f"\n{len(nights)} nights, {sum(n[1] == 'finished' for n in nights)} finished")
    error = inside.std(ddof=1) / np.sqrt(len(inside)) if len(inside) > 1 else float("nan")
    print(f"interpolated temperatures within U: {100 * inside.mean():.1f} % ± {100 * error:.1f} % (by night)")
    print(f"nights with every thermometer within U at every temperature: {100 * whole:.0f} %")
    rms = np.sqrt(np.mean((2 * every) ** 2))
    print(f"worst |error|/U of all: {every.max():.2f}; rms of error/(U/2): {rms:.2f}")
    print(f"{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main()
