"""Instruments beside the heat source as profiles describe them: readout, ambient monitor, interlocks."""

from __future__ import annotations

from collections.abc import Mapping

from drivers.clock import Clock
from drivers.instrument import Instrument
from drivers.link import Link
from drivers.profile_fields import Sample
from drivers.profile_model import Profile
from drivers.profile_rules import MONITORED
from drivers.quantities import Reading


class _Monitor(Instrument):
    """One question brings everything the instrument shows, so that it belongs to one moment."""

    def __init__(self, profile: Profile, link: Link, transport: str, clock: Clock) -> None:
        super().__init__(profile, link, transport, clock)
        self._question = profile.questions[MONITORED[profile.role][0]]

    async def _shown(self) -> dict[str, Reading | bool]:
        values = await self.ask(self._question)
        return {
            name: self.reading(values, self._question, name) if isinstance(value, Sample) else value
            for name, value in values.items()
        }

    async def _readings(self) -> Mapping[str, Reading]:
        return {name: shown for name, shown in (await self._shown()).items() if isinstance(shown, Reading)}


class ProfileReadout(_Monitor):
    """roles.Readout over a profile."""

    async def temperatures(self) -> Mapping[str, Reading]:
        """Temperatures in °C by the profile's names; raises InstrumentError."""
        return await self._readings()


class ProfileAmbient(_Monitor):
    """roles.Ambient over a profile."""

    async def conditions(self) -> Mapping[str, Reading]:
        """Temperature (°C) and, where there are, pressure (hPa) and humidity (%); raises InstrumentError."""
        return await self._readings()


class ProfileInterlocks(_Monitor):
    """roles.Interlocks over a profile."""

    async def states(self) -> Mapping[str, Reading | bool]:
        """Switches and measured values by their names; raises InstrumentError."""
        return await self._shown()
