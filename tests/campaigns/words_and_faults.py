"""Operator's words and faults in any order on bath, block and furnace: no order of them leads to more heat.

python -m tests.campaigns.words_and_faults [--examples 200] [--steps 25] [--seed 1] [--plants bath,block]

A state machine in the sense of hypothesis: it lets time pass, says words, breaks things, and looks after
each step at what is true in the simulated world. A sequence that fails is printed.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
import time
from collections.abc import Sequence
from random import Random

from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from daemon.journal.entry import Entry, Kind
from daemon.states import HALTED, State
from simulators.faults import KINDS, parse_fault
from simulators.virtual_time import VirtualTimeLoop
from tests.campaigns.fault_cases import draw_fault, kinds_of
from tests.campaigns.fault_oracle import PANEL, STUCK, UNCOMMANDABLE
from tests.campaigns.live_night import LiveNight, live_night
from tests.campaigns.short_nights import PLANTS

WORDS = ("hold", "release", "acknowledge", "halt", "cut")
STRENGTH = {State.RUNNING: 0, State.HOLDING: 1, State.PARKING: 2, State.CUT: 3, State.PARKED: 4}
_UNTIL_CUT_IS_COMMANDED_S = 60.0
_BY_ITSELF = frozenset({"brown-out", "reset", PANEL, *UNCOMMANDABLE})
"""What may heat although it was commanded off: power that returns, a hand at the panel, a lost command."""


class WordsAndFaults(RuleBasedStateMachine):
    """One night; `plants` and `counts` belong to the campaign that runs it."""

    plants: tuple[str, ...] = PLANTS
    counts: dict[str, int]

    def __init__(self) -> None:
        super().__init__()
        self._loop: VirtualTimeLoop | None = None
        self._states: list[State] = []
        self._switched_on: list[str] = []
        self._broken: list[str] = []
        self._cut: tuple[float, float] | None = None

    @initialize(plant=st.sampled_from(PLANTS), minutes=st.sampled_from((5, 40, 90, 150)))
    def begin(self, plant: str, minutes: int) -> None:
        """Some time into the night of a plant."""
        plant = plant if plant in self.plants else self.plants[0]
        self._night: LiveNight = live_night(plant)
        self._loop = VirtualTimeLoop()
        self._loop.run_until_complete(self._open())
        self._pass(60.0 * minutes)
        self._count(plant)

    @rule(minutes=st.sampled_from((0.02, 0.5, 3.0, 12.0, 35.0)))
    def time_passes(self, minutes: float) -> None:
        """Nobody says anything."""
        self._pass(60.0 * minutes)

    @rule(word=st.sampled_from(WORDS))
    def somebody_says(self, word: str) -> None:
        """A word; a second later its reaction is under way."""
        before = self._states[-1]
        self._pass(1.0, word=word)
        self._count(f"{word} while {before}")
        if word == "acknowledge" and before is State.HOLDING:
            assert self._states[-1] is not State.RUNNING, "acknowledging led back to heat"

    @rule(kind=st.sampled_from(sorted(KINDS)), chance=st.integers(0, 1000))
    def something_breaks(self, kind: str, chance: int) -> None:
        """One more fault, as far as commands can still arrive: what cannot be commanded is not judged."""
        plant = self._night.plant
        lost = UNCOMMANDABLE.union({PANEL})
        unjudgeable = kind in lost and not lost.isdisjoint(self._broken)
        if kind == STUCK or kind in self._broken or kind not in kinds_of(plant) or unjudgeable:
            return
        at_s = self._night.clock_s + 2.0
        self._night.break_later(parse_fault(draw_fault(kind, plant, at_s, Random(chance))))
        self._broken.append(kind)
        self._pass(3.0)
        self._count(f"{kind} while {self._states[-1]}")

    @invariant()
    def no_set_point_was_raised_in_a_halt(self) -> None:
        """As written over the wire."""
        assert self._loop is None or self._night.notes.raised == []

    @invariant()
    def no_heater_was_switched_on_in_a_halt(self) -> None:
        """As commanded."""
        assert self._switched_on == []

    @invariant()
    def a_halt_only_becomes_stronger(self) -> None:
        """Nothing leads from a halt to anything weaker."""
        halted = [state for state in self._states if state in STRENGTH]
        first = next((n for n, state in enumerate(halted) if state in HALTED), len(halted))
        strengths = [STRENGTH[state] for state in halted[first:]]
        assert strengths == sorted(strengths), halted

    @invariant()
    def nothing_is_hotter_than_its_rating(self) -> None:
        """In truth."""
        if self._loop is None:
            return
        for one in self._night.run.thermometers:
            highest_c = self._night.scene.probes[one.serial].highest_c
            assert highest_c <= one.maximum.value, f"{one.serial} reached {highest_c:.1f} °C"
        source = self._night.scene.source
        assert max(source.medium_c) <= self._night.run.bench.heat_source.maximum_c

    @invariant()
    def nothing_is_heated_after_a_cut(self) -> None:
        """Judged by the heater's energy, once the cut had time to be commanded."""
        if self._cut is None or not _BY_ITSELF.isdisjoint(self._broken):
            return
        since_s, energy_j = self._cut
        if self._night.clock_s - since_s > _UNTIL_CUT_IS_COMMANDED_S:
            now_j = self._night.scene.heater_energy_j
            assert energy_j < 0.0 or now_j <= energy_j, f"{now_j - energy_j:.0f} J heated after the cut"
            self._cut = (since_s, now_j)

    def teardown(self) -> None:
        """End the night where it is."""
        if self._loop is None:
            return
        self._driving.cancel()
        self._loop.run_until_complete(asyncio.gather(self._driving, return_exceptions=True))
        self._loop.run_until_complete(self._loop.shutdown_asyncgens())
        self._loop.close()

    def _pass(self, seconds: float, *, word: str = "") -> None:
        assert self._loop is not None
        self._loop.run_until_complete(self._live(seconds, word))

    async def _open(self) -> None:
        self._executor, procedure = self._night.open()
        self._night.journal.listen(self._listen)
        self._driving = asyncio.create_task(self._executor.run(procedure))

    async def _live(self, seconds: float, word: str) -> None:
        if word:
            self._executor.word(word, "a person at the bench")
        await self._night.clock.sleep(seconds)
        if self._driving.done():
            self._driving.result()

    def _listen(self, entry: Entry) -> None:
        if entry.kind == Kind.STATE:
            self._states.append(State(entry.body["to"]))
            if self._states[-1] is State.CUT and self._cut is None:
                self._cut = (entry.when_s, -1.0)
        halted = bool(self._states) and self._states[-1] in HALTED
        if entry.kind == Kind.ACTION and halted and entry.body["do"] == "switch_heater" and entry.body["on"]:
            self._switched_on.append(str(self._states[-1]))

    def _count(self, what: str) -> None:
        self.counts[what] = self.counts.get(what, 0) + 1


def machine(plants: Sequence[str]) -> type[WordsAndFaults]:
    """The machine for some plants, with counts of its own."""
    return type("OnSomePlants", (WordsAndFaults,), {"plants": tuple(plants), "counts": {}})


def tried(on: type[WordsAndFaults], examples: int, steps: int, first_seed: int) -> None:
    """Run it; AssertionError behind the sequence that failed."""
    how = settings(
        max_examples=examples,
        stateful_step_count=steps,
        deadline=None,
        database=None,
        phases=(Phase.generate,),
        suppress_health_check=list(HealthCheck),
    )
    run_state_machine_as_test(seed(first_seed)(on), settings=how)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the campaign and print what was tried."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--examples", type=int, default=200)
    parser.add_argument("--steps", type=int, default=25)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--plants", default=",".join(PLANTS))
    given = parser.parse_args(arguments)
    on, began = machine(given.plants.split(",")), time.monotonic()
    tried(on, given.examples, given.steps, given.seed)
    for what, count in sorted(on.counts.items()):
        print(f"{count:6d}  {what}")
    nights = sum(on.counts.get(plant, 0) for plant in PLANTS)
    print(f"{nights} nights, no step led to more heat; {time.monotonic() - began:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
