"""Fault texts drawn from a seed: every kind the simulators know, with values that fit the plant."""

from __future__ import annotations

import math
from random import Random

from simulators.faults import KINDS, Fault

_WIRE = ("silence", "garbage", "late-answer", "half-line")
_HOTTEST_C = {"bath": 195.0, "cold": 30.0, "block": 415.0, "furnace": 500.0}
STIRRED = frozenset({"bath", "cold"})
_NO_STIRRER = frozenset({"stirrer-stop", "level-low"})


SEEN_WITHIN_S = {
    "over-temperature": 5.0,
    "level-low": 5.0,
    "stirrer-stop": 5.0,
    "silence": 30.0,
    "disconnect": 30.0,
    "garbage": 30.0,
    "half-line": 30.0,
    "late-answer": 30.0,
    "brown-out": 30.0,
    "wrong-identity": 65.0,
}
"""Kinds that show at once, whatever the night is at, and when a guard must have held the run at the latest.

The others show only by what they do: for them the figures are printed, not judged."""

_LONG_ENOUGH_S = 15.0


def late(fault: Fault, first_s: float | None, lasted_s: float = math.inf) -> str:
    """What is wrong with when a guard first held a run that lasted so long; empty when nothing is."""
    within_s = SEEN_WITHIN_S.get(fault.kind)
    if within_s is None or fault.duration_s < _LONG_ENOUGH_S or lasted_s < within_s:
        return ""
    if first_s is None:
        return f"never seen, though it shows within {within_s:.0f} s"
    return "" if first_s <= within_s else f"seen after {first_s:.0f} s instead of {within_s:.0f} s"


def kinds_of(plant: str) -> tuple[str, ...]:
    """Fault kinds that this plant can have."""
    return tuple(kind for kind in KINDS if plant in STIRRED or kind not in _NO_STIRRER)


def draw_fault(kind: str, plant: str, instant_s: float, chance: Random) -> str:
    """The fault as text, at `instant_s`."""
    hours, rest = divmod(int(instant_s), 3600)
    when = f"{hours}:{rest // 60:02d}:{rest % 60:02d}"
    value = _value(kind, plant, chance)
    return f"{kind}@{when}{'=' + value if value else ''}{_duration(kind, chance)}"


def _value(kind: str, plant: str, chance: Random) -> str:
    item = str(chance.choice((2, 3)))
    device = chance.choice(("source", "bridge"))
    values = {
        "panel-set-point": f"{chance.uniform(25.0, _HOTTEST_C[plant] + 60.0):.1f}",
        "weak-heater": f"{chance.uniform(0.05, 0.7):.2f}",
        "bad-control": f"{chance.uniform(3.0, 30.0):.1f}",
        "display-drift": f"{chance.choice((-1, 1)) * chance.uniform(0.1, 2.0):.2f}",
        "reference-drift": f"{chance.choice((-1, 1)) * chance.uniform(0.1, 2.0):.2f}",
        "cold-load": f"{chance.uniform(1.0, 8.0):.1f}",
        "step": f"{chance.choice(('1', item))}:{chance.choice((-1, 1)) * chance.uniform(3.0, 30.0):.1f}",
        "swapped-channels": "1:2",
        "frozen-reading": chance.choice(("1", item, "source")),
        "open-lead": chance.choice(("1", item)),
        "short": chance.choice(("1", item)),
        "noisy": chance.choice(("1", item)),
        "probe-pulled": chance.choice(("1", item)),
        "head-hot": f"{chance.uniform(100.0, 120.0):.0f}",
        "humid-room": f"{chance.uniform(20.0, 100.0):.0f}",
    }
    return device if KINDS[kind][0] in ("device", "instrument") else values.get(kind, "")


def _duration(kind: str, chance: Random) -> str:
    if kind == "brown-out":
        return f"/{chance.uniform(5.0, 1500.0):.0f}"
    if kind in _WIRE and chance.random() < 0.6:
        return f"/{chance.uniform(3.0, 900.0):.0f}"
    return ""
