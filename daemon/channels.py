"""What is connected to each bridge channel, and how its resistance reads as a temperature."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from daemon.observations import Resistance

CALIBRATED_ROLES = ("item", "check_standard")
"""Roles of the thermometers that get a result."""

ITEM_ROLES = (*CALIBRATED_ROLES, "further_reference")
"""Roles of everything that is read and judged beside the reference."""

_BAND = (0.1, 4.5)
"""Resistance over nominal resistance at 0 °C that any platinum thermometer here can show."""


@dataclass(frozen=True, slots=True)
class Certificate:
    """A reference's own: ohm to t90 in °C (None outside its range), and U in mK, k as stated with it."""

    t90: Callable[[float], float | None]
    expanded_mk: float


@dataclass(frozen=True, slots=True)
class ChannelFacts:
    """One bridge channel: whose it is, its job, nominal resistance at 0 °C in ohm, how to read it.

    `role` is "reference", "head" or one of `ITEM_ROLES`; `to_celsius` turns ohm into °C closely enough for a
    guard; `allowance_k` is how far that may be wrong; limits in °C. `needs_annealing`: a standard
    thermometer, whose platinum is changed by fast cooling from above 450 °C. `known`: its own resistance at
    0 °C is on file. `discards`: readings thrown away after a switch to it, at least. `certificate`: a
    reference's, where there are several to hold against each other.
    """

    channel: int
    name: str
    role: str
    nominal_ohm: float
    to_celsius: Callable[[float], float]
    allowance_k: float
    minimum_c: float
    maximum_c: float
    needs_annealing: bool = False
    known: bool = False
    discards: int = 0
    certificate: Certificate | None = None


def out_of_band(facts: ChannelFacts, observation: Resistance) -> str:
    """Why this reading cannot be a platinum thermometer in order; empty when it can."""
    reading = observation.reading
    if reading.value is None:
        return reading.reason
    low, high = (factor * facts.nominal_ohm for factor in _BAND)
    if not low <= reading.value <= high:
        return f"{reading.value:.3f} Ω is outside {low:.0f} … {high:.0f} Ω"
    return ""
