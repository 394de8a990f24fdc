"""A bridge with one input and a scanner in front of it, working as one bridge with many channels."""

from __future__ import annotations

import asyncio
from dataclasses import replace

from drivers.clock import Clock
from drivers.errors import OutsideLimits, WrongChannel
from drivers.quantities import Reading
from drivers.roles import Bridge, Scanner

INPUT = 1


class ScannedBridge:
    """roles.Bridge. Neither instrument knows of the other, so every reading is tied to its channel here.

    The scanner is asked which channel is closed before and after each conversion; only when it was the
    wanted one both times does the reading count.
    """

    def __init__(self, bridge: Bridge, scanner: Scanner, clock: Clock) -> None:
        self._bridge, self._scanner, self._clock = bridge, scanner, clock
        self.capabilities = replace(
            bridge.capabilities,
            channels=scanner.capabilities.channels,
            settling_s=max(bridge.capabilities.settling_s, scanner.capabilities.settling_s),
        )
        self._one_at_a_time = asyncio.Lock()
        self._channel: int | None = None
        self._settled_at_s = 0.0
        self._discards_left = 0

    async def identify(self) -> str:
        """Ask both who they are; raises WrongIdentity, InstrumentError."""
        return f"{await self._bridge.identify()}; scanner: {await self._scanner.identify()}"

    async def measure(self, channel: int, current_ma: float) -> Reading:
        """One channel at one current; raises OutsideLimits (nothing sent), WrongChannel, InstrumentError."""
        if channel not in range(1, self.capabilities.channels + 1):
            raise OutsideLimits(
                f"channel {channel} does not exist; the scanner has 1 to {self.capabilities.channels}"
            )
        async with self._one_at_a_time:
            if channel != self._channel:
                await self._connect(channel)
            await self._settle(channel, current_ma)
            return await self._tied(channel, current_ma)

    async def close(self) -> None:
        """Let go of both wires."""
        await self._bridge.close()
        await self._scanner.close()

    async def _connect(self, channel: int) -> None:
        """A selection counts only once it was read back."""
        self._channel = None
        await self._scanner.select(channel)
        self._channel = channel
        self._settled_at_s = self._clock.monotonic_s() + self.capabilities.settling_s
        self._discards_left = self.capabilities.discard

    async def _settle(self, channel: int, current_ma: float) -> None:
        """Wait out the last switch, also when the call that switched was cancelled."""
        if self._settled_at_s > self._clock.monotonic_s():
            await self._clock.sleep_until(self._settled_at_s)
        while self._discards_left:
            await self._tied(channel, current_ma)
            self._discards_left -= 1

    async def _tied(self, channel: int, current_ma: float) -> Reading:
        await self._see_closed(channel, "before")
        reading = await self._bridge.measure(INPUT, current_ma)
        await self._see_closed(channel, "after")
        return reading

    async def _see_closed(self, channel: int, moment: str) -> None:
        found = await self._scanner.closed()
        if found != channel:
            self._channel = None
            told = f"channel {found} is closed" if found else "no channel is closed"
            raise WrongChannel(
                f"channel {channel} was selected, but {moment} the reading the scanner says {told}; "
                "the reading is refused"
            )
