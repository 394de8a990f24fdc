"""How far the run stays from each rating: of every thermometer, the source and the fluid."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from plans.run_plan import RunPlan


@dataclass(frozen=True, slots=True)
class Margin:
    """`above_k`: from the hottest point to the highest rating; `below_k`: from the lowest to the coldest."""

    owner: str
    highest_c: float
    above_k: float
    lowest_c: float
    below_k: float

    @property
    def words(self) -> str:
        """Both margins with the ratings they are counted to."""
        return (
            f"{self.above_k:.0f} K to its highest ({self.highest_c:g} °C), "
            f"{self.below_k:.0f} K to its lowest ({self.lowest_c:g} °C)"
        )


def margins(run: RunPlan) -> Iterator[Margin]:
    """One for each owner of a rating; a margin below zero is a temperature beyond it."""
    hottest, coldest = max(run.visited_c), min(run.visited_c)
    for high, low in zip(run.rating.highest_of, run.rating.lowest_of, strict=True):
        yield Margin(high.owner, high.value, high.value - hottest, low.value, coldest - low.value)
