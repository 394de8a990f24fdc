"""What a thermometer may see when its own papers say nothing: limits by sheath, class and element."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Sheath = Literal[
    "stainless_steel", "nickel_chromium", "borosilicate", "fused_silica", "fused_silica_high", "alumina"
]
Element = Literal["strain_free", "supported_wire", "wire_wound", "film"]
ToleranceClass = Literal["AA", "A", "B", "C"]


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit and who set it: `value` in °C, K/min or mA, `owner` a thing on the bench, `rule` why."""

    owner: str
    value: float
    rule: str


SHEATH_NAMES: dict[Sheath, str] = {
    "stainless_steel": "stainless steel sheath",
    "nickel_chromium": "nickel-chromium sheath",
    "borosilicate": "borosilicate glass sheath",
    "fused_silica": "fused silica sheath",
    "fused_silica_high": "fused silica sheath, high-temperature type",
    "alumina": "alumina sheath",
}

SHEATH_MAXIMUM: dict[Sheath, tuple[float, str]] = {
    "stainless_steel": (450.0, "common practice, no source; ASTM E1137 allows 480 °C"),
    "nickel_chromium": (650.0, "range of ASTM E1137"),
    "borosilicate": (500.0, "from memory: mica gives off water"),
    "fused_silica": (660.0, "from memory: long-stem type"),
    "fused_silica_high": (962.0, "range to the silver point in NIST SP 250-81"),
    "alumina": (850.0, "top of the IEC 60751 range"),
}

# IEC 60751, read second-hand: temperature range of each class by construction, °C.
WIRE_RANGE: dict[ToleranceClass, tuple[float, float]] = {
    "AA": (-50.0, 250.0),
    "A": (-100.0, 450.0),
    "B": (-196.0, 600.0),
    "C": (-196.0, 600.0),
}
FILM_RANGE: dict[ToleranceClass, tuple[float, float]] = {
    "AA": (0.0, 150.0),
    "A": (-30.0, 300.0),
    "B": (-50.0, 500.0),
    "C": (-50.0, 600.0),
}

BRITTLE: frozenset[Sheath] = frozenset({"borosilicate", "fused_silica", "fused_silica_high", "alumina"})
BRITTLE_RATE_K_PER_MIN = 5.0  # from memory
METAL_RATE_K_PER_MIN = 10.0  # from memory


def class_range(element: Element, tolerance_class: ToleranceClass) -> tuple[float, float]:
    """Lowest and highest temperature in °C of a class for this construction (IEC 60751)."""
    return (FILM_RANGE if element == "film" else WIRE_RANGE)[tolerance_class]


def default_maximum(owner: str, sheath: Sheath, element: Element, grade: ToleranceClass | None) -> Limit:
    """The lower of sheath limit and class limit."""
    value, source = SHEATH_MAXIMUM[sheath]
    of_sheath = Limit(owner, value, f"{SHEATH_NAMES[sheath]}: {source}")
    if grade is None:
        return of_sheath
    of_class = Limit(
        owner, class_range(element, grade)[1], f"class {grade} {_construction(element)} (IEC 60751)"
    )
    return min(of_sheath, of_class, key=lambda limit: limit.value)


def default_minimum(owner: str, element: Element, grade: ToleranceClass | None) -> Limit:
    """The class limit, or that of the widest class of the construction."""
    low = class_range(element, grade or "C")[0]
    rule = f"class {grade} {_construction(element)}" if grade else f"{_construction(element)}, widest class"
    return Limit(owner, low, f"{rule} (IEC 60751)")


def default_rate(owner: str, sheath: Sheath) -> Limit:
    """Fastest heating or cooling in K/min by what the sheath is made of."""
    value = BRITTLE_RATE_K_PER_MIN if sheath in BRITTLE else METAL_RATE_K_PER_MIN
    return Limit(owner, value, f"{SHEATH_NAMES[sheath]} (from memory)")


def _construction(element: Element) -> str:
    return "film element" if element == "film" else "wire-wound element"
