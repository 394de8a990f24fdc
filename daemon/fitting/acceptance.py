"""Is this thermometer an ITS-90 interpolating thermometer? The scale's own criteria, in words.

Source: The International Temperature Scale of 1990, Metrologia 27 (1990) 3-10, section 3.3, equations
(8a), (8b) and (8c); the figure for W(Ag) is from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

W_GALLIUM_MIN = 1.11807
W_MERCURY_MAX = 0.844235
W_SILVER_MIN = 4.2844

NOT_ITS90 = "ITS-90 form, not an ITS-90 interpolating thermometer"


@dataclass(frozen=True)
class Acceptance:
    """`accepted` is None when no ratio was at hand to judge by; `sentences` say why, one a criterion."""

    accepted: bool | None
    sentences: tuple[str, ...]


def judge_acceptance(
    w_gallium: float | None = None,
    w_mercury: float | None = None,
    w_silver: float | None = None,
    used_to_silver: bool = False,
) -> Acceptance:
    """Judge by W(29.7646 °C) or W(-38.8344 °C); for use up to the silver point also by W(961.78 °C)."""
    purity = [
        _judged("W(29.7646 °C)", w_gallium, W_GALLIUM_MIN, at_least=True),
        _judged("W(-38.8344 °C)", w_mercury, W_MERCURY_MAX, at_least=False),
    ]
    silver = _judged("W(961.78 °C)", w_silver, W_SILVER_MIN, at_least=True)
    known = [met for met, _ in purity if met is not None]
    accepted: bool | None = any(known) if known else None
    if used_to_silver and accepted is not False:
        accepted = silver[0] if silver[0] is not True else accepted
    verdict = {
        None: "nothing measured decides whether this is an ITS-90 interpolating thermometer",
        True: "meets the ITS-90 criteria for an interpolating thermometer",
        False: NOT_ITS90,
    }[accepted]
    judged = [*purity, silver] if used_to_silver else purity
    return Acceptance(accepted, (verdict, *(sentence for _, sentence in judged if sentence)))


def _judged(name: str, value: float | None, limit: float, at_least: bool) -> tuple[bool | None, str]:
    if value is None:
        return None, ""
    met = value >= limit if at_least else value <= limit
    wanted = "at least" if at_least else "at most"
    return met, f"{name} = {value:.6f}, {wanted} {limit} wanted: {'met' if met else 'not met'}"
