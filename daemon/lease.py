"""Heat is a lease: a controller that can takes its parking set-point by itself when nobody renews it.

It acts where the guardian cannot: when the computer itself, its power or its cable is lost.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from drivers.clock import Clock
from drivers.heat_source import ProfileHeatSource
from drivers.profile_model import Profile

SILENCE_S = 60.0
"""Long enough for a link to come back, short for a source. Common practice, no source."""

_RENEWED_SHARE = 1.0 / 3.0
"""Part of the silence after which it is renewed."""

_AGAIN_S = 5.0
"""A renewal that failed is tried again after this."""


@dataclass(frozen=True, slots=True)
class Terms:
    """After `silence_s` s without a command the controller takes the set-point `fall_back_c`, in °C."""

    silence_s: float
    fall_back_c: float

    @property
    def renewed_every_s(self) -> float:
        """In s; a look renews when this has passed."""
        return _RENEWED_SHARE * self.silence_s


def terms_of(profile: Profile, parking_c: float) -> Terms | None:
    """What this controller is told; None when it has no reaction to silence of its own."""
    loss = profile.communication_loss
    if loss is None:
        return None
    shortest_s, longest_s = profile.commands[loss.time].limits or (SILENCE_S, SILENCE_S)
    return Terms(min(max(SILENCE_S, shortest_s), longest_s), parking_c)


def unfit(profile: Profile, parking_c: float) -> str:
    """Why the controller cannot be told to fall back to the parking temperature; empty when it can."""
    loss = profile.communication_loss
    limits = profile.commands[loss.set_point].limits if loss is not None else None
    if limits is None or limits[0] <= parking_c <= limits[1]:
        return ""
    return f"its fall-back goes from {limits[0]:g} °C to {limits[1]:g} °C, parking is at {parking_c:g} °C"


class Lease:
    """Granted before heat, renewed after looks that told a temperature; what dies no longer renews it."""

    def __init__(self, source: ProfileHeatSource, terms: Terms, clock: Clock) -> None:
        self._source, self._terms, self._clock = source, terms, clock
        self._due_s = math.inf  # never before it was granted

    async def grant(self) -> dict[str, float]:
        """Set it and read it back; returns what is set and what was found. Raises InstrumentError."""
        found_s, found_c = await self._source.communication_loss()
        await self._write()
        terms = self._terms
        return {
            "silence_s": terms.silence_s,
            "fall_back_c": terms.fall_back_c,
            "found_s": found_s,
            "found_c": found_c,
        }

    async def renew(self) -> None:
        """Set it again when that is due; raises InstrumentError. Where it lapses, its set-point changes."""
        now_s = self._clock.monotonic_s()
        if now_s >= self._due_s:
            self._due_s = now_s + _AGAIN_S
            await self._write()

    async def _write(self) -> None:
        await self._source.arm_communication_loss(self._terms.silence_s, self._terms.fall_back_c)
        self._due_s = self._clock.monotonic_s() + self._terms.renewed_every_s
