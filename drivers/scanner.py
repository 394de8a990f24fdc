"""A scanner of its own, as its profile describes it: it closes one channel and says which one is closed."""

from __future__ import annotations

from drivers.clock import Clock
from drivers.errors import OutsideLimits
from drivers.instrument import Instrument
from drivers.link import Link
from drivers.profile_fields import Sample
from drivers.profile_model import Profile
from drivers.roles import ScannerCapabilities


class ProfileScanner(Instrument):
    """roles.Scanner over a profile."""

    def __init__(self, profile: Profile, link: Link, transport: str, clock: Clock) -> None:
        super().__init__(profile, link, transport, clock)
        assert profile.scanner is not None
        self.capabilities = ScannerCapabilities(profile.scanner.channels, profile.scanner.settling_s)

    async def select(self, channel: int) -> None:
        """Close one channel, open the others, read back.

        Raises OutsideLimits (nothing sent), NotConfirmed, InstrumentError.
        """
        if channel not in range(1, self.capabilities.channels + 1):
            raise OutsideLimits(
                f"{self.link.name}: channel {channel} does not exist; channels are 1 to "
                f"{self.capabilities.channels}"
            )
        await self.write(self.command("channel"), channel)

    async def closed(self) -> int:
        """The channel that is closed now, asked on the wire; 0 when none is. Raises InstrumentError."""
        found = (await self.ask(self.profile.questions["closed"]))["channel"]
        assert isinstance(found, Sample)
        return 0 if found.value is None else round(found.value)
