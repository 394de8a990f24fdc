"""What is wrong with a plan, in sentences for the person who wrote it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing to put right: where it stands, what stands there and what to write instead."""

    file: str
    where: str
    value: str
    sentence: str

    def __str__(self) -> str:
        place = f"{self.file}, {self.where}" if self.where else self.file
        shown = f" = {self.value}" if self.value else ""
        return f"{place}{shown}: {self.sentence}"


class PlanError(Exception):
    """A plan, bench or register that cannot be used; `problems` holds everything found, not the first."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in problems))


def shown(value: object) -> str:
    """A value as a short text for a message; tables and lists only by their size."""
    if isinstance(value, dict):
        return f"a table of {len(value)}"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int) and value.bit_length() > 64:
        return "a very long whole number"
    if isinstance(value, int | float):
        return str(value)
    text = " ".join(str(value).split())
    text = "".join(character if character.isprintable() else "?" for character in text)
    return f'"{text}"' if len(text) <= 60 else f'"{text[:57]}..."'
