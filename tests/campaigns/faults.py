"""Every fault kind at random instants of shortened nights: is anything harmed, and how soon is it seen?

Run from the repository's root:
python -m tests.campaigns.faults [--instants 50] [--seed 1] [--plants bath,block,furnace] [--kinds a,b]
Healthy nights with disturbances, for false trips: python -m tests.campaigns.faults --healthy HOURS
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict
from multiprocessing import Pool
from pathlib import Path
from random import Random

from simulators.scene import Scene
from tests.campaigns.fault_branches import branches
from tests.campaigns.fault_cases import draw_fault, kinds_of
from tests.campaigns.fault_oracle import STUCK, Case, night_with
from tests.campaigns.short_nights import PLANTS, short_night

_EARLIEST_S, _INTO_PARKING_S = 120.0, 1800.0
_PROCESSES = 2
_TOLD_EVERY = 25
_DISTURBED_EVERY_S = 3600.0
_LARGEST_CHILL_K = 0.5

Job = tuple[str, str]


def jobs(
    plants: Sequence[str], kinds: Sequence[str], instants: int, seed: int, ends_s: dict[str, float]
) -> list[Job]:
    """Plant and fault text of every case, in order, from the seed alone."""
    found = []
    for plant in plants:
        for kind in kinds_of(plant):
            if kinds and kind not in kinds:
                continue
            chance = Random(f"{seed}/{plant}/{kind}")
            for _ in range(instants):
                instant_s = chance.uniform(_EARLIEST_S, ends_s[plant] + _INTO_PARKING_S)
                found.append((plant, draw_fault(kind, plant, instant_s, chance)))
    return found


def healthy_case(job: tuple[str, int]) -> tuple[Case, float]:
    """One night without a fault but with lid and load disturbances about every hour; and its hours."""
    plant, seed = job
    scenes: list[Scene] = []

    def disturbed(scene: Scene) -> None:
        scenes.append(scene)
        disturb(scene, Random(f"{seed}/{plant}"))

    case = night_with(short_night(plant), plant, disturb=disturbed)
    return case, scenes[0].source.seconds / 3600.0


def disturb(scene: Scene, chance: Random) -> None:
    """Let the medium drop a little now and then, as when a lid is opened or a cold stem is touched."""
    advance, source = scene.source.advance, scene.source
    due_s = chance.expovariate(1.0 / _DISTURBED_EVERY_S)

    def disturbed(until_s: float) -> None:
        nonlocal due_s
        while due_s <= until_s:
            advance(due_s)
            source.chill(chance.uniform(0.0, _LARGEST_CHILL_K))
            due_s += chance.expovariate(1.0 / _DISTURBED_EVERY_S)
        advance(until_s)

    source.advance = disturbed  # type: ignore[method-assign]


def table(cases: Iterable[Case]) -> list[str]:
    """One line a fault kind, and one for every violation."""
    by_kind: dict[str, list[Case]] = {}
    for case in cases:
        by_kind.setdefault(case.kind, []).append(case)
    lines = [
        f"{'fault':27s} cases  unseen  first guard s (median / worst)  margin K  fall  fall, cut  violations"
    ]
    for kind, group in by_kind.items():
        seen = sorted(case.first_s for case in group if case.first_s is not None)
        first = f"{statistics.median(seen):8.0f} / {seen[-1]:8.0f}" if seen else f"{'-':>8s}   {'':8s}"
        margin = min(case.margin_k for case in group)
        fall, cut = max(c.cooling_share for c in group), max(c.cut_cooling_share for c in group)
        bad = sum(bool(case.violations) for case in group)
        note = "  not protected without a contactor" if kind == STUCK and bad else ""
        lines.append(
            f"{kind:27s} {len(group):5d}  {len(group) - len(seen):6d}  {first:31s}  {margin:8.1f}"
            f"  {fall:4.1f}  {cut:9.1f}  {bad:10d}{note}"
        )
    lines += [f"  {c.plant} {c.fault}: {'; '.join(c.violations)}" for c in violations(cases)]
    return lines


def violations(cases: Iterable[Case]) -> list[Case]:
    """Cases that must not be; a stuck relay is not one of them, since no command stops it."""
    return [case for case in cases if case.violations and case.kind != STUCK]


def healthy_end_s(plant: str) -> float:
    """When the plant's undisturbed night begins to park."""
    return night_with(short_night(plant), plant).healthy_end_s


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the campaign and print its figures; 1 when there was a violation or a false trip."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--instants", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--plants", default=",".join(PLANTS))
    parser.add_argument("--kinds", default="")
    parser.add_argument("--saved", default="", metavar="FILE", help="append every case as JSON")
    parser.add_argument("--healthy", type=float, default=0.0, metavar="HOURS")
    given = parser.parse_args(arguments)
    plants = given.plants.split(",")
    began = time.monotonic()
    work: Callable[[], int] = lambda: _healthy(plants, given.seed, given.healthy)  # noqa: E731
    if not given.healthy:
        kinds = [kind for kind in given.kinds.split(",") if kind]
        work = lambda: _faulty(plants, kinds, given.instants, given.seed, given.saved)  # noqa: E731
    code = work()
    print(f"{time.monotonic() - began:.0f} s")
    return code


def _faulty(plants: Sequence[str], kinds: Sequence[str], instants: int, seed: int, saved: str) -> int:
    ends_s = {plant: healthy_end_s(plant) for plant in plants}
    drawn = jobs(plants, kinds, instants, seed, ends_s)
    began, cases = time.monotonic(), []
    for plant in plants:
        faults = [fault for where, fault in drawn if where == plant]
        for case in branches(plant, faults, ends_s[plant]):
            cases.append(case)
            _progress(cases, len(drawn), time.monotonic() - began)
            if saved:
                with Path(saved).open("a") as file:
                    file.write(json.dumps(asdict(case)) + "\n")
    print("\n".join([*table(cases), *hottest(cases)]))
    bad = violations(cases)
    print(f"{len(cases)} cases, {len(bad)} violations")
    return 1 if bad or len(cases) != len(drawn) else 0


def _progress(cases: Sequence[Case], of: int, took_s: float) -> None:
    newest = cases[-1]
    if newest.violations:
        print(f"{newest.plant} {newest.fault}: {'; '.join(newest.violations)}", flush=True)
    if len(cases) % _TOLD_EVERY == 0:
        left_min = took_s / len(cases) * (of - len(cases)) / 60.0
        bad = len(violations(cases))
        print(f"{len(cases)} of {of} cases, {bad} violations, {left_min:.0f} min left", flush=True)


def hottest(cases: Iterable[Case]) -> list[str]:
    """One line for each rated thing of each plant: the highest true temperature, stuck relays aside."""
    found: dict[tuple[str, str], tuple[float, float]] = {}
    for case in cases:
        for name, (true_c, rated_c) in case.hottest_c.items() if case.kind != STUCK else ():
            highest_c = max(true_c, found.get((case.plant, name), (true_c, rated_c))[0])
            found[case.plant, name] = highest_c, rated_c
    return [
        f"{plant:8s} {name:12s} highest {true_c:6.1f} °C, rated {rated_c:6.1f} °C"
        for (plant, name), (true_c, rated_c) in found.items()
    ]


def _healthy(plants: Sequence[str], seed: int, hours: float) -> int:
    passed, trips, number = 0.0, [], seed
    with Pool(_PROCESSES) as pool:
        while passed < hours:
            for case, lasted in pool.map(healthy_case, [(plant, number) for plant in plants]):
                passed += lasted
                trips += [case] if case.first_guard or case.state != "finished" else []
            number += 1
    for case in trips:
        print(f"  {case.plant}: {case.first_guard} after {case.first_s} s, {case.state}")
    print(f"{passed:.0f} simulated hours with disturbances, {len(trips)} false holds or halts")
    return 1 if trips else 0


if __name__ == "__main__":
    sys.exit(main())
