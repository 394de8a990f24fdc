"""What is looked at once a minute: how the computer does, and whether the instruments are still the same."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from daemon.executor.instruments import Instruments
from daemon.executor.power import Power, power
from daemon.journal.journal import Journal
from daemon.observations import Failed, Machine, Observation
from drivers.errors import InstrumentError, Restarted, WrongIdentity

ROUND_S = 60.0

_LATE_S = 5.0
_MIB = 2**20

Observe = Callable[[Observation, int], None]


class Rounds:
    """Goes its round when it is due; `folder` is where the record lies, None when nobody shall look there."""

    def __init__(self, instruments: Instruments, journal: Journal, folder: Path | None) -> None:
        self._instruments = instruments
        self._clock = instruments.clock
        self._journal = journal
        self._folder = folder
        self._due_s: float | None = None
        self._late_s = self._asleep_s = self._wall_s = 0.0
        self._stall_told = False

    def note_late(self, late_s: float) -> None:
        """The watch came so much later than it wanted to."""
        self._late_s = max(self._late_s, late_s)

    async def go(self, observe: Observe) -> None:
        """Tell what was found: once a minute, or at once when the watch or a commit is far too late."""
        now_s = self._clock.monotonic_s()
        if self._due_s is None:
            self._due_s = now_s + ROUND_S
            self._note_clocks(now_s)
        due = now_s >= self._due_s
        stalled = self._journal.commit_under_way_s() > _LATE_S
        stall_is_new, self._stall_told = stalled and not self._stall_told, stalled
        if not (due or stall_is_new or self._late_s >= _LATE_S):
            return
        observe(self._machine(now_s), 0)
        if due:
            self._due_s = now_s + ROUND_S
            await self._identities(observe)

    def _machine(self, now_s: float) -> Machine:
        # A simulated night must not depend on how this computer is fed.
        fed = Power() if self._folder is None else power()
        slowest_s = self._journal.slowest_commit_s()
        asleep_s, wall_s, late_s = self._asleep_s, self._wall_s, self._late_s
        self._note_clocks(now_s)
        return Machine(
            now_s,
            late_s=round(late_s, 3),
            asleep_s=round(self._asleep_s - asleep_s, 3),
            wall_step_s=round(self._wall_s - wall_s, 3),
            free_mib=self._free_mib(),
            storage=self._journal.fault,
            on_battery=fed.on_battery,
            charge_percent=fed.charge_percent,
            commit_s=None if slowest_s is None else round(slowest_s, 3),
        )

    def _note_clocks(self, now_s: float) -> None:
        self._late_s, self._asleep_s = 0.0, self._clock.suspended_s()
        self._wall_s = self._clock.utc_s() - now_s - self._asleep_s

    def _free_mib(self) -> float | None:
        if self._folder is None:
            return None
        try:
            return round(shutil.disk_usage(self._folder).free / _MIB, 1)
        except OSError:
            return 0.0

    async def _identities(self, observe: Observe) -> None:
        # Any other failure shows in the looks and readings themselves.
        for role, device in self._instruments.devices:
            try:
                await device.identify()
            except (WrongIdentity, Restarted) as error:
                observe(failed(self._clock.monotonic_s(), role, error), 0)
            except InstrumentError:
                continue


def failed(when_s: float, role: str, error: InstrumentError) -> Failed:
    """An instrument's failure as an observation."""
    return Failed(when_s, role, str(error) or type(error).__name__, type(error).__name__)
