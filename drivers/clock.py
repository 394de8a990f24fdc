"""The one place where time comes from: monotonic seconds for intervals, UTC for stamps."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

Now = Callable[[], float]
"""Monotonic seconds."""


class Clock:
    """Time as the event loop of its first use tells it; one clock belongs to one loop.

    On a real loop this is the machine's monotonic clock; on a virtual-time loop it is simulated
    time. `utc_at_zero` is the UTC instant that belongs to loop time zero; without it the machine's
    own UTC is read.
    """

    def __init__(self, utc_at_zero: datetime | None = None) -> None:
        self._utc_at_zero = utc_at_zero
        self._zero_s = utc_at_zero.timestamp() if utc_at_zero else 0.0
        self._loop_time: Now | None = None

    def monotonic_s(self) -> float:
        """Monotonic time in seconds; only differences have a meaning."""
        if self._loop_time is None:
            self._loop_time = asyncio.get_running_loop().time
        return self._loop_time()

    def utc(self) -> datetime:
        """UTC now (simulated UTC on a virtual-time loop)."""
        if self._utc_at_zero is None:
            return datetime.now(UTC)
        return self._utc_at_zero + timedelta(seconds=self.monotonic_s())

    def utc_s(self) -> float:
        """UTC now in seconds since 1970, for stamping many entries cheaply."""
        if self._utc_at_zero is None:
            return datetime.now(UTC).timestamp()
        return self._zero_s + self.monotonic_s()

    def suspended_s(self) -> float:
        """Seconds this machine has slept since it was started; the monotonic clock stands still then.

        Always 0 in simulated time and where the system does not tell.
        """
        boot_clock = getattr(time, "CLOCK_BOOTTIME", None)
        if self._utc_at_zero is not None or boot_clock is None:
            return 0.0
        return time.clock_gettime(boot_clock) - time.clock_gettime(time.CLOCK_MONOTONIC)

    async def sleep(self, seconds: float) -> None:
        """Wait; returns at once for zero or less."""
        await asyncio.sleep(max(0.0, seconds))

    async def sleep_until(self, when_s: float) -> None:
        """Wait until monotonic time `when_s`."""
        await self.sleep(when_s - self.monotonic_s())


class ScaledClock(Clock):
    """For simulators served in scaled time: `factor` seconds pass in each real one, from the first use on.

    Intervals, ages, quiet times and back-offs shrink with it. A link's deadline for a reply does not: it
    bounds the wire and the machine, which do not run faster, and stays in real seconds.
    """

    def __init__(self, factor: float, utc_at_zero: datetime) -> None:
        super().__init__(utc_at_zero)
        self._factor = factor
        self._start_s: float | None = None

    def monotonic_s(self) -> float:
        """Scaled seconds since the first use."""
        real_s = super().monotonic_s()
        if self._start_s is None:
            self._start_s = real_s
        return (real_s - self._start_s) * self._factor

    async def sleep(self, seconds: float) -> None:
        """Wait for scaled seconds; returns at once for zero or less."""
        await super().sleep(seconds / self._factor)
