"""A resistance bridge with its scanner as its profile describes it."""

from __future__ import annotations

import asyncio
import math

from drivers.clock import Clock
from drivers.errors import OutsideLimits, WrongChannel
from drivers.instrument import Instrument
from drivers.link import Link
from drivers.profile_fields import Sample, Values
from drivers.profile_model import Profile
from drivers.quantities import Reading
from drivers.roles import BridgeCapabilities

CURRENT_TOLERANCE = 1e-6


class ProfileBridge(Instrument):
    """roles.Bridge over a profile."""

    def __init__(self, profile: Profile, link: Link, transport: str, clock: Clock) -> None:
        super().__init__(profile, link, transport, clock)
        assert profile.bridge is not None
        facts = profile.bridge
        self.capabilities = BridgeCapabilities(
            facts.channels, facts.currents_ma, facts.integration_s, facts.settling_s, facts.reversal
        )
        self._question = profile.questions["resistance"]
        self._one_at_a_time = asyncio.Lock()
        self._channel: int | None = None
        self._current_ma: float | None = None
        self._settled_at_s = 0.0
        self._discards_left = 0

    async def measure(self, channel: int, current_ma: float) -> Reading:
        """Resistance of one channel at one current; a negative one flows the other way.

        Channel and current are selected only when they change; after a change the input settles and
        the profile's number of conversions is thrown away. Raises OutsideLimits (nothing sent),
        WrongChannel, InstrumentError.
        """
        self._check(channel, current_ma)
        async with self._one_at_a_time:
            await self._select(channel, current_ma)
            await self._settle()
            values = await self.ask(self._question)
            self._belongs(values, channel, current_ma)
            return self.reading(values, self._question, "resistance")

    def forget(self) -> None:
        """After a reopen or a drain the selection is not known."""
        self._channel = self._current_ma = None

    def _check(self, channel: int, current_ma: float) -> None:
        if channel not in range(1, self.capabilities.channels + 1):
            raise OutsideLimits(
                f"{self.link.name}: channel {channel} does not exist; channels are 1 to "
                f"{self.capabilities.channels}"
            )
        reversed_current = current_ma < 0.0 and not self.capabilities.reversal
        if abs(current_ma) not in self.capabilities.currents_ma or reversed_current:
            offered = ", ".join(f"{offer:g}" for offer in self.capabilities.currents_ma)
            raise OutsideLimits(
                f"{self.link.name}: {current_ma:g} mA is not offered; currents are {offered} mA"
                f"{', either way' if self.capabilities.reversal else ''}"
            )

    async def _select(self, channel: int, current_ma: float) -> None:
        """Switch what differs. A selection counts only once it was accepted."""
        if not self.link.up:
            self.forget()
        if channel != self._channel:
            self._channel = None
            await self.write(self.command("channel"), channel)
            self._channel = channel
            self._switched()
        if current_ma != self._current_ma:
            self._current_ma = None
            await self.write(self.command("current"), current_ma)
            self._current_ma = current_ma
            self._switched()

    def _switched(self) -> None:
        self._settled_at_s = self._clock.monotonic_s() + self.capabilities.settling_s
        self._discards_left = self._question.discard

    async def _settle(self) -> None:
        """Wait out the last switch, also when the call that switched was cancelled."""
        if self._settled_at_s > self._clock.monotonic_s():
            await self._clock.sleep_until(self._settled_at_s)
        while self._discards_left:
            await self.ask(self._question)
            self._discards_left -= 1

    def _belongs(self, values: Values, channel: int, current_ma: float) -> None:
        found_channel, found_current = values["channel"], values["current"]
        assert isinstance(found_channel, Sample) and isinstance(found_current, Sample)
        if found_channel.value == channel and math.isclose(
            found_current.value or 0.0, current_ma, rel_tol=CURRENT_TOLERANCE
        ):
            return
        error = WrongChannel(
            f"{self.link.name}: channel {channel} at {current_ma:g} mA was asked, channel "
            f"{found_channel.raw} at {found_current.raw} answered"
        )
        self.link.distrust(str(error))
        self.forget()
        raise error
