"""Fault texts drawn from a seed: every kind the simulators know, with values that fit the plant."""

from __future__ import annotations

from random import Random

from simulators.faults import KINDS

_WIRE = ("silence", "garbage", "late-answer", "half-line")
_HOTTEST_C = {"bath": 195.0, "block": 415.0, "furnace": 500.0}
_NO_STIRRER = frozenset({"stirrer-stop", "level-low"})


def kinds_of(plant: str) -> tuple[str, ...]:
    """Fault kinds that this plant can have; no head sensor is wired in these nights."""
    without = {"head-hot"} | (set() if plant == "bath" else _NO_STIRRER)
    return tuple(kind for kind in KINDS if kind not in without)


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
        "head-hot": "40",
    }
    return device if KINDS[kind][0] in ("device", "instrument") else values.get(kind, "")


def _duration(kind: str, chance: Random) -> str:
    if kind == "brown-out":
        return f"/{chance.uniform(5.0, 1500.0):.0f}"
    if kind in _WIRE and chance.random() < 0.6:
        return f"/{chance.uniform(3.0, 900.0):.0f}"
    return ""
