"""kill -9 of the daemon at random instants of a night: is an acknowledged entry lost, does the run go on?

python -m tests.campaigns.kills [--kills 200] [--seed 1] [--resume-every 1]

Each time the record must be a whole chain that holds every acknowledged entry; resumed, the run must end
finished with the same thermometers as the night that nobody killed, within the noise of points measured
again.
"""

from __future__ import annotations

import argparse
import os
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random

import numpy as np

from daemon.journal.read import verify
from daemon.night import CannotResume
from daemon.rehearsal import rehearse, resume_rehearsal
from daemon.results.calibrate import NightResult, calibrate
from daemon.states import State
from plans.loading import load_plan
from plans.run_plan import RunPlan

NOT_RESUMED = "not resumed"
GAP_S = 60.0
LARGEST_CHANGE_MK = 3.0

_EXAMPLES = Path(__file__).resolve().parents[2] / "plans" / "examples"
_POINT = "\n[[points]]\ntemperature_c = 70.0\n"
"""One more than the example has, so that every thermometer can be fitted."""
_CONTINUE = '\n[resume]\npolicy = "continue"\nmaximum_gap_s = 120\n'
_LONGEST_S = 1800.0
_LATER_S = 0.004


@dataclass(frozen=True)
class Kill:
    """One kill: the last acknowledged entry, entries found, how the resumed run ended, change in mK."""

    acknowledged: int
    found: int
    intact: bool
    state: str = NOT_RESUMED
    changed_mk: float = 0.0

    @property
    def bad(self) -> bool:
        """True when something was lost, broken or other than it should be."""
        lost = self.found < self.acknowledged
        ended = self.state in (State.FINISHED, NOT_RESUMED)
        return lost or not self.intact or not ended or not self.changed_mk <= LARGEST_CHANGE_MK


class Undisturbed:
    """The night that nobody kills, in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        for name in ("bench-bath.toml", "register.toml"):
            (folder / name).write_text((_EXAMPLES / name).read_text("utf-8"), "utf-8")
        self.folder = folder
        self.plan = folder / "plan.toml"
        self.plan.write_text((_EXAMPLES / "short.toml").read_text("utf-8") + _POINT + _CONTINUE, "utf-8")
        self.run: RunPlan = load_plan(self.plan)
        record = folder / "undisturbed.record"
        self.entries = rehearse(self.run, record).outcome.entries
        self.results: NightResult = calibrate(record)

    def changed_mk(self, record: Path) -> float:
        """The largest change of any thermometer's characteristic within its range."""
        again, changes = calibrate(record), [0.0]
        for item in self.results.items:
            before, now = item.characteristic, again.item(item.serial).characteristic
            assert before is not None, "the undisturbed night fits every thermometer"
            if now is None:
                return np.inf
            low_c = max(before.range_c[0], now.range_c[0]) + 0.01
            high_c = min(before.range_c[1], now.range_c[1]) - 0.01
            grid = np.linspace(low_c, high_c, 21)
            moved_k = now.temperature_c(before.resistance_ohm(grid)) - grid
            changes.append(1000.0 * float(np.max(np.abs(moved_k))))
        return max(changes)


def kill_once(night: Undisturbed, chance: Random, *, resume: bool = True) -> Kill:
    """A night of its own, killed at a random instant, looked at, and resumed."""
    with tempfile.TemporaryDirectory() as name:
        record, noted = Path(name) / "night.record", Path(name) / "acknowledged"
        acknowledged = _killed(night, record, noted, chance)
        found = verify(record)
        if not resume:
            return Kill(acknowledged, found.entries, found.intact)
        try:
            state = str(resume_rehearsal(night.run, record, gap_s=GAP_S).outcome.state)
        except CannotResume:
            # It had said that it was finished; only the closing entry is missing.
            state = str(State.FINISHED) if acknowledged > 0.99 * night.entries else "refused"
        intact = found.intact and verify(record).intact
        return Kill(acknowledged, found.entries, intact, state, night.changed_mk(record))


def _killed(night: Undisturbed, record: Path, noted: Path, chance: Random) -> int:
    """Kill it once it has acknowledged a random entry, and a moment later; returns what was acknowledged."""
    at_entry, later_s = chance.randrange(10, night.entries - 50), chance.uniform(0.0, _LATER_S)
    words = [sys.executable, "-m", "tests.campaigns.kill_night", str(night.plan), str(record), str(noted)]
    process = subprocess.Popen(words)
    give_up_s = time.monotonic() + _LONGEST_S
    while _acknowledged(noted) < at_entry:
        if process.poll() is not None or time.monotonic() > give_up_s:
            process.kill()
            raise RuntimeError(f"entry {at_entry} of {night.entries} was never acknowledged")
        time.sleep(0.001)
    time.sleep(later_s)
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    return _acknowledged(noted)


def _acknowledged(noted: Path) -> int:
    try:
        return int(noted.read_text("ascii") or 0)
    except FileNotFoundError:
        return 0


def figures(kills: Sequence[Kill]) -> str:
    """What was found, in one line."""
    acknowledged = sum(kill.acknowledged for kill in kills)
    lost = sum(kill.found < kill.acknowledged for kill in kills)
    broken = sum(not kill.intact for kill in kills)
    finished = sum(kill.state == State.FINISHED for kill in kills)
    resumed = sum(kill.state != NOT_RESUMED for kill in kills)
    beyond = [kill.found - kill.acknowledged for kill in kills]
    changed_mk = [kill.changed_mk for kill in kills if kill.state != NOT_RESUMED]
    return (
        f"{len(kills)} kills: {acknowledged} entries acknowledged, lost in {lost};"
        f" {broken} broken chains; {resumed} resumed, {finished} of them finished;"
        f" entries beyond the acknowledged: median {statistics.median(beyond):.0f}, most {max(beyond)};"
        f" change: median {statistics.median(changed_mk):.2f} mK, most {max(changed_mk):.2f} mK"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the campaign and print its figures; 1 when anything was lost, broken or other."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--resume-every", type=int, default=1, metavar="N", help="resume every Nth killed run"
    )
    given = parser.parse_args(arguments)
    chance, kills = Random(given.seed), list[Kill]()
    with tempfile.TemporaryDirectory() as name:
        night, began = Undisturbed(Path(name)), time.monotonic()
        while len(kills) < given.kills:
            resume = len(kills) % given.resume_every == 0
            kills.append(kill_once(night, chance, resume=resume))
            if kills[-1].bad:
                print(f"BAD {kills[-1]}", flush=True)
            if len(kills) % 10 == 0:
                left_min = (time.monotonic() - began) / len(kills) * (given.kills - len(kills)) / 60.0
                print(f"{left_min:.0f} min left; {figures(kills)}", flush=True)
    print(figures(kills))
    return int(any(kill.bad for kill in kills))


if __name__ == "__main__":
    sys.exit(main())
