"""Synthetic nights with a known answer: does the stated uncertainty hold, do the same bytes come twice?"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np

import plans
from daemon.fitting.characteristic import Characteristic
from daemon.journal.read import verify
from daemon.rehearsal import Rehearsal, rehearse
from daemon.results.calibrate import calibrate
from daemon.validation.check import Check, Part, Say
from plans.loading import load_plan, with_seed

EXAMPLES = Path(plans.__file__).parent / "examples"
_PLANS = ("iprt-bath.toml", "block-night.toml")
_GRID = 21
_WITHIN_SHARE = 0.80
"""All temperatures of a night share the reference's error, so a single night may miss at many of them."""
_WORST = 2.0


def check_nights(folder: Path, seeds: int, say: Say) -> Part:
    """Rehearse example plans with `seeds` seeds each, in `folder`; the truth is the simulator's."""
    checks: list[Check] = []
    for name in _PLANS:
        for seed in range(1, seeds + 1):
            say(f"night of {name}, seed {seed} of {seeds}")
            record = folder / f"{Path(name).stem}-{seed}.record"
            rehearsal = rehearse(with_seed(load_plan(EXAMPLES / name), seed), record)
            checks += _judged(name, seed, record, rehearsal)
    say(f"night of {_PLANS[0]} once more: the same bytes?")
    checks.append(_same_bytes(folder))
    return Part(
        "Synthetic nights with a known answer",
        "Whole nights on simulated instruments; every fitted thermometer against the truth, which the fit "
        "never saw.",
        tuple(checks),
    )


def ratios(
    characteristic: Characteristic, rehearsal: Rehearsal, serial: str, places: int = _GRID
) -> list[float]:
    """|error| over U at so many temperatures across the range."""
    truth = rehearsal.scene.truth(serial).truth
    grid = np.linspace(*characteristic.range_c, places)
    true_ohm = np.clip([truth.resistance_ohm(float(t), 1.0) for t in grid], *characteristic.range_ohm)
    error_k = np.abs(characteristic.temperature_c(true_ohm) - grid)
    return [float(ratio) for ratio in error_k / characteristic.expanded_uncertainty_k(grid)]


def _judged(name: str, seed: int, record: Path, rehearsal: Rehearsal) -> Iterator[Check]:
    fitted = {i.serial: i.characteristic for i in calibrate(record).items if i.characteristic is not None}
    found = [ratio for serial, one in fitted.items() for ratio in ratios(one, rehearsal, serial)]
    inside = sum(ratio <= 1.0 for ratio in found) / len(found) if found else 0.0
    worst = max(found, default=math.inf)
    yield Check(
        f"{Path(name).stem}, seed {seed}: {len(fitted)} thermometers",
        f"error within U at most temperatures, nowhere above {_WORST:g} U",
        f"{inside:.0%} within U, worst {worst:.2f} U",
        "the simulator's truth; U is for 95 %, JCGM 100:2008",
        inside >= _WITHIN_SHARE and worst <= _WORST,
    )
    chain = verify(record)
    end = "closed" if chain.closed else "not closed"
    yield Check(
        f"{Path(name).stem}, seed {seed}: the record",
        "closed, chain whole",
        f"{chain.entries} entries, {end}, {chain.problem or 'chain whole'}",
        "SHA-256 from entry to entry",
        chain.intact and chain.closed,
    )


def _same_bytes(folder: Path) -> Check:
    first, again = folder / f"{Path(_PLANS[0]).stem}-1.record", folder / "again.record"
    rehearse(with_seed(load_plan(EXAMPLES / _PLANS[0]), 1), again)
    one, other = (hashlib.sha256(path.read_bytes()).hexdigest() for path in (first, again))
    return Check(
        f"{Path(_PLANS[0]).stem}, seed 1, run twice",
        f"SHA-256 {one[:16]}…",
        f"SHA-256 {other[:16]}…",
        "same seed, same bytes",
        one == other,
    )
