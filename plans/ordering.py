"""Whether the points stand in the order the plan says."""

from __future__ import annotations

from itertools import pairwise


def order_problem(order: str, temperatures_c: list[float]) -> str:
    """A sentence when the temperatures do not follow `order`, else an empty text."""
    steps = [later - earlier for earlier, later in pairwise(temperatures_c)]
    if order == "ascending" and not all(step > 0.0 for step in steps):
        return "the points do not rise from first to last; sort them or state the order they have."
    if order == "descending" and not all(step < 0.0 for step in steps):
        return "the points do not fall from first to last; sort them or state the order they have."
    if order == "up_and_down" and not _one_turn(steps):
        return (
            "up and down means rising to one highest point and falling from there (or the other way round); "
            'sort the points or write order = "custom" with order_reason.'
        )
    return ""


def _one_turn(steps: list[float]) -> bool:
    signs = [step > 0.0 for step in steps]
    return 0.0 not in steps and sum(one != other for one, other in pairwise(signs)) == 1
