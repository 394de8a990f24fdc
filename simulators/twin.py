"""A heat source alone, answering recorded commands: what a record is compared with to learn its constants."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from simulators.physics.heat import HeatSource
from simulators.physics.models import MODELS, Constants

# Which constants of the model each learned factor multiplies.
PARTS: Mapping[str, tuple[str, ...]] = {
    "heat_capacity": ("heater_j_per_k", "medium_j_per_k", "outer_j_per_k"),
    "exchange": ("heater_medium_w_per_k", "medium_outer_w_per_k"),
    "loss": ("medium_air_w_per_k", "outer_air_w_per_k", "extra_loss_w_per_k2"),
    "coolant": ("coolant_w_per_k", "coolant_limit_w"),
    "gain": ("gain_per_k",),
    "integral": ("integral_s",),
}


@dataclass(frozen=True, slots=True)
class Display:
    """What the display shows less the truth: offset in K at 0 °C, slope in K/K."""

    offset_k: float
    slope: float


def learned_constants(model: str, factors: Mapping[str, float], display: Display | None) -> Constants:
    """The constants of a shipped model times what was learned, its display as learned."""
    constants = MODELS[model]
    scaled = {
        name: getattr(constants, name) * factor for part, factor in factors.items() for name in PARTS[part]
    }
    learned = replace(constants, **scaled)
    return learned if display is None else shown_as(learned, display)


def shown_as(constants: Constants, display: Display) -> Constants:
    """The same source with this display."""
    return replace(constants, display_offset_k=display.offset_k, display_slope=display.slope)


Order = tuple[float, str, float]
"""A command: when in s, "set_point" in °C, "ramp" in K/min, "heater" or "cooling" as 0 or 1."""


def answer(
    constants: Constants, orders: Sequence[Order], looks_s: Sequence[float], ambient_c: float, start_c: float
) -> tuple[list[float], list[float]]:
    """Display in °C and heater output in % at each of the times in `looks_s`, without its unsteadiness."""
    source = HeatSource(replace(constants, unsteady_w=0.0), random.Random(0), ambient_c, start_c=start_c)
    acts: Mapping[str, Callable[[float], None]] = {
        "set_point": lambda value: source.controller.write_set_point(value, source.sensor_c),
        "ramp": lambda value: setattr(source.controller, "ramp_k_per_min", value),
        "heater": lambda value: setattr(source.controller, "heater_on", value > 0.0),
        "cooling": lambda value: setattr(source.controller, "cooling_on", value > 0.0),
    }
    shown, output = [], []
    waiting = list(reversed(orders))
    for look_s in looks_s:
        while waiting and waiting[-1][0] <= look_s:
            when_s, what, value = waiting.pop()
            source.advance(when_s)
            acts[what](value)
        source.advance(look_s)
        shown.append(source.displayed_c)
        output.append(source.output_percent)
    return shown, output
