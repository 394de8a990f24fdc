"""Annealing: heat, hold, cool slowly, read again, until the thermometers no longer change."""

from __future__ import annotations

from collections.abc import Generator, Mapping
from statistics import fmean

from daemon.actions import Action, Mark
from daemon.observations import Observation
from daemon.procedure.script import Annealing, Point, RunEnded
from daemon.procedure.settling import arrived
from daemon.procedure.watching import Watching


class Change:
    """How much each item changed against the reference since it was read the time before."""

    def __init__(self, annealing: Annealing | None) -> None:
        self.stable = False
        self._annealing = annealing
        self._last_mk: dict[int, float] = {}

    def take(
        self, point: Point, read: Mapping[int, list[float]], watching: Watching, last: bool
    ) -> Generator[Action, Observation, None]:
        """Compare the readings of a return with those before; raises RunEnded when annealing never ends."""
        annealing, before_mk = self._annealing, self._last_mk
        reference = watching.script.reference_channel
        if annealing is None or reference not in read:
            return
        reference_c = fmean(read[reference])
        self._last_mk = {c: 1e3 * (fmean(t) - reference_c) for c, t in read.items() if c != reference}
        if point.stage != "annealed" or not before_mk:
            return
        both = [channel for channel in self._last_mk if channel in before_mk]
        change_mk = {
            watching.script.channels[c].name: round(self._last_mk[c] - before_mk[c], 3) for c in both
        }
        largest_mk = max((abs(mk) for mk in change_mk.values()), default=0.0)
        self.stable = largest_mk <= annealing.stable_within_mk
        data = {"index": point.index, "change_mk": change_mk, "allowed_mk": annealing.stable_within_mk}
        yield Mark("annealing_judged", data | {"stable": self.stable})
        if last and not self.stable and annealing.ends_when_unstable:
            raise RunEnded(
                f"still changing by {largest_mk:.1f} mK after the last annealing; the plan allows "
                f"{annealing.stable_within_mk:g} mK: decide before more heat"
            )


def hold(watching: Watching, point: Point) -> Generator[Action, Observation, None]:
    """Wait for the source to arrive, then stay for the soak time; the guards bound the way."""
    arrived_s: float | None = None
    while arrived_s is None or watching.now_s - arrived_s < point.minimum_soak_s:
        yield from watching.scan(point.current_ma)
        if arrived_s is None and arrived(watching, point):
            arrived_s = watching.now_s
            data = {"index": point.index, "temperature_c": point.temperature_c}
            yield Mark("arrived", data)
    yield Mark("anneal_held", {"index": point.index, "held_s": round(watching.now_s - arrived_s, 1)})
