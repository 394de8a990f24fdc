"""The beat comes from the end of the control cycle: through faults of the wire, and from nowhere else."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from daemon.guardian.orders import Limits
from daemon.journal.entry import Kind
from daemon.journal.read import read_entries
from daemon.night import Bench, Outcome, run_night
from daemon.rehearsal import LONGEST_NIGHT_S, make_scene, simulation_of
from daemon.states import State
from drivers.clock import Clock
from plans.loading import load_plan
from simulators import virtual_time
from tests.campaigns.guardian_bench import EXAMPLES

LIMITS = Limits()


@dataclass
class NotedHeart:
    """A guardian's other side that notes every beat; from cycle `lost_at` on there is no guardian."""

    clock: Clock
    lost_at: int = 10**9
    words: list[str] = field(default_factory=list)
    beats: list[tuple[float, int, int, float]] = field(default_factory=list)

    def arm(self) -> None:
        self.words.append("arm")

    def beat(self, cycle: int, judged: int, age_s: float) -> str:
        self.beats.append((self.clock.monotonic_s(), cycle, judged, age_s))
        return "the guardian died a second time" if cycle >= self.lost_at else ""

    def disarm(self) -> None:
        self.words.append("disarm")


def night(folder: Path, faults: tuple[str, ...] = (), lost_at: int = 10**9) -> tuple[Outcome, NotedHeart]:
    run = load_plan(EXAMPLES / "short.toml")
    there = make_scene(run, faults)
    clock = Clock(simulation_of(run).start_utc)
    heart = NotedHeart(clock, lost_at)
    far_ends = {name: there.instrument(name) for name in ("source", "bridge")}
    bench = Bench(clock, far_ends, True, heart=heart)
    going = run_night(run, folder / "night.record", bench)
    return virtual_time.run(going, end_s=LONGEST_NIGHT_S), heart


@pytest.mark.parametrize(
    "fault", ["silence@0:40=source/25", "garbage@0:40=source/25", "late-answer@0:40=source/25"]
)
def test_a_wire_that_fails_for_a_while_never_makes_a_living_daemon_look_dead(
    tmp_path: Path, fault: str
) -> None:
    _, heart = night(tmp_path, (fault,))
    times = [at_s for at_s, *_ in heart.beats]
    assert max(b - a for a, b in itertools.pairwise(times)) < LIMITS.dead_after_s
    assert max(age_s for *_, age_s in heart.beats) < LIMITS.stale_after_s
    assert [cycle for _, cycle, *_ in heart.beats] == list(range(1, len(heart.beats) + 1))
    assert heart.words == ["arm", "disarm"]


def test_when_every_wire_is_silent_the_beats_say_how_old_the_newest_reading_is(tmp_path: Path) -> None:
    _, heart = night(tmp_path, ("silence@0:40=source/120", "silence@0:40=bridge/120"))
    assert max(age_s for *_, age_s in heart.beats) > LIMITS.stale_after_s


def test_a_run_whose_guardian_is_lost_for_good_parks_and_says_so(tmp_path: Path) -> None:
    outcome, heart = night(tmp_path, lost_at=1200)
    verdicts = [e.body for e in read_entries(tmp_path / "night.record", frozenset({Kind.VERDICT}))]
    assert outcome.state is State.PARKED
    assert [(v["guard"], v["reaction"]) for v in verdicts] == [("guardian", "park")]
    assert heart.words == ["arm", "disarm"]
