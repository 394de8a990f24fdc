"""Is each thermometer where the plan says it is? Asked at room temperature, before any heat."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from itertools import combinations

from daemon.actions import Action, Mark
from daemon.observations import Observation
from daemon.procedure.script import RunEnded
from daemon.procedure.watching import Watching

_ROOM_C = (10.0, 35.0)
_TOGETHER_K = 0.5
_KNOWN_K = 0.05
_SWAPPED_K = 0.03
_QUIET_K = 0.005
_LONGEST_TURNS = 60
"""Agreement at rest: anything like its nominal; known R0; and what an exchange must explain;
how little the reference may change from turn to turn, and how many turns that may take.

All common practice, no source.
"""


def check_identity(watching: Watching) -> Generator[Action, Observation, None]:
    """Mark a thermometer whose R0 is not the one on file; raises RunEnded for one that cannot be right.

    A source that is not at room temperature tells nothing: then only the channel test by hand does.
    """
    reference_c = yield from _at_rest(watching)
    if reference_c is None:
        yield Mark("identity_not_tested", {"reason": "the source is not at rest at room temperature"})
        return
    away_k = {c: watching.temperatures_c[c] - reference_c for c in _present(watching)}
    refusals = [*_exchanged(watching, reference_c, away_k), *_elsewhere(watching, away_k)]
    if refusals:
        raise RunEnded("nothing was heated: " + "; ".join(refusals))
    for channel, by_k in away_k.items():
        facts = watching.script.channels[channel]
        if facts.known and not abs(by_k) <= _KNOWN_K:
            why = f"reads {1e3 * by_k:+.0f} mK beside the reference at room temperature by the R0 on file"
            what = "moist, changed, or another thermometer"
            data = {"channel": channel, "name": facts.name, "away_mk": round(1e3 * by_k, 1)}
            yield Mark("identity_doubted", data | {"reason": f"{why}: {what}"})


def _at_rest(watching: Watching) -> Generator[Action, Observation, float | None]:
    """The reference's temperature once it stays the same for two turns; None when it never does."""
    reference, quiet, before_c = watching.script.reference_channel, 0, float("inf")
    for _ in range(_LONGEST_TURNS):
        yield from watching.scan(watching.script.scan_current_ma)
        now_c = watching.temperatures_c[reference]
        if not _ROOM_C[0] <= now_c <= _ROOM_C[1]:
            return None
        quiet = quiet + 1 if abs(now_c - before_c) <= _QUIET_K else 0
        before_c = now_c
        if quiet == 2:
            return now_c
    return None


def _present(watching: Watching) -> list[int]:
    return [c for c in watching.items if c in watching.temperatures_c]


def _exchanged(watching: Watching, reference_c: float, away_k: dict[int, float]) -> Iterator[str]:
    """Pairs that both fit badly, and well when their channels are exchanged."""
    channels, ohm = watching.script.channels, watching.resistances_ohm
    doubted = [c for c, by_k in away_k.items() if channels[c].known and not abs(by_k) <= _KNOWN_K]
    for one, other in combinations(doubted, 2):
        crossed = (channels[one].to_celsius(ohm[other]), channels[other].to_celsius(ohm[one]))
        if all(abs(t_c - reference_c) <= _SWAPPED_K for t_c in crossed):
            yield (
                f"{channels[one].name} and {channels[other].name} are exchanged: channel {one} carries "
                f"what belongs to channel {other}, by their R0 on file"
            )


def _elsewhere(watching: Watching, away_k: dict[int, float]) -> Iterator[str]:
    for channel, by_k in away_k.items():
        if not abs(by_k) <= _TOGETHER_K:
            name = watching.script.channels[channel].name
            yield (
                f"channel {channel} ({name}) reads {by_k:+.2f} K beside the reference at room temperature: "
                "not in the source, another type, or damaged (shorted turns read low)"
            )
