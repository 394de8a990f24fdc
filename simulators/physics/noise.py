"""Seeded chance: one generator for each device, so that one more channel never changes another's noise."""

from __future__ import annotations

import random


def generator(seed: int, device: str) -> random.Random:
    """The generator that belongs to `device` in the world with this `seed`."""
    return random.Random(f"{seed}/{device}")


def rectangular(chance: random.Random, half_width: float) -> float:
    """A value between minus and plus `half_width`, all equally likely."""
    return chance.uniform(-half_width, half_width)
