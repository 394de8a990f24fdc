"""Varied nights of bath, block and furnace, replayed: is every decision made again, and how fast?

    python -m tests.campaigns.replays [--folder DIR] [--processes 2]

Faults, an operator's words, halts, cuts and resumes; prints each night's length, entries and decisions, what
came out otherwise, and the seconds that rehearsing and replaying took.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from daemon.night import Voice
from daemon.rehearsal import rehearse, resume_rehearsal
from daemon.replay.changed import recorded_plan
from daemon.replay.regression import records_in, replay_all
from daemon.replay.replay import replay
from plans.loading import parse_plan
from plans.run_plan import RunPlan
from tests.campaigns.short_nights import short_night
from tests.nights.replayed import cut_off, spoken

CONTINUE = '\n[resume]\npolicy = "continue"\nmaximum_gap_s = 120\n'


@dataclass(frozen=True)
class Case:
    """One night: its plant, what breaks, what is said (s, word, by whom), and where it is cut off."""

    name: str
    plant: str
    faults: tuple[str, ...] = ()
    words: tuple[tuple[float, str, str], ...] = ()
    resumed_at: float = 0.0


CASES = (
    Case("bath-quiet", "bath"),
    Case(
        "bath-held",
        "bath",
        words=((1500.3, "hold", "ks"), (1700.0, "acknowledge", "wr"), (2100.77, "release", "ks")),
    ),
    Case("bath-cut-by-word", "bath", words=((2500.3, "cut", "ks"), (2600.0, "acknowledge", "wr"))),
    Case("bath-panel", "bath", ("panel-set-point@0:50=250",)),
    Case("bath-silence-and-garbage", "bath", ("silence@0:40=source/40", "garbage@0:55=bridge/30")),
    Case("bath-resumed", "bath", resumed_at=0.4),
    Case("block-noisy", "block", ("step@0:40=2:3", "noisy@0:50=3/300")),
    Case("block-disconnected", "block", ("disconnect@0:30=source/25", "reset@1:00=bridge")),
    Case("block-frozen", "block", ("frozen-reading@0:40=1/600",)),
    Case("furnace-late-answers", "furnace", ("late-answer@0:30=bridge/60",)),
    Case("furnace-stuck-relay", "furnace", ("stuck-relay@0:50",), ((3600.0, "acknowledge", "ks"),)),
    Case("furnace-resumed", "furnace", ("head-hot@1:00=15",), resumed_at=0.3),
)


def record_of(case: Case, folder: Path) -> Path:
    """Rehearse a case; gives its record."""
    record = folder / f"{case.name}.record"
    run = _continuing(short_night(case.plant)) if case.resumed_at else short_night(case.plant)
    voice: Callable[[Voice], None] | None = spoken(*case.words)
    rehearse(run, record, faults=case.faults, hand_over=voice)
    if case.resumed_at:
        whole = record.rename(folder / f"{case.name}.whole")
        cut_off(whole, record, case.resumed_at)
        resume_rehearsal(run, record, gap_s=60.0)
    return record


def _continuing(run: RunPlan) -> RunPlan:
    return parse_plan(run.texts.plan + CONTINUE, run.texts.bench, run.texts.register, run.names)


def main() -> int:
    """Run the campaign; exit 1 when a night did not come out the same."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--processes", type=int, default=2)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = args.folder or Path(scratch)
        different = sum(_tell(case, folder) for case in CASES)
        records = records_in(folder)
        began_s = time.monotonic()
        rows = replay_all(records, args.processes)
        spent_s = time.monotonic() - began_s
    lasted_h = sum(row.lasted_s for row in rows) / 3600.0
    print(f"\n{len(CASES)} nights, {different} not the same")
    print(f"all at once: {lasted_h:.1f} h of record in {spent_s:.1f} s by {args.processes} processes")
    return 1 if different else 0


def _tell(case: Case, folder: Path) -> bool:
    began_s = time.process_time()
    record = record_of(case, folder)
    rehearsed_s = time.process_time() - began_s
    found = replay(record, recorded_plan(record))
    replayed_s = time.process_time() - began_s - rehearsed_s
    print(
        f"{case.name:26s} {found.lasted_s / 3600.0:5.2f} h, {sum(found.same.values()):6d} entries, "
        f"{found.decisions:6d} decisions, {len(found.differences)} different; CPU: rehearsed in "
        f"{rehearsed_s:.1f} s, replayed in {replayed_s:.1f} s",
        flush=True,
    )
    return not found.identical


if __name__ == "__main__":
    sys.exit(main())
