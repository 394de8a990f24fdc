"""The clock of a person at a desk: no event loop, and UTC is all that a signature needs."""

from __future__ import annotations

from drivers.clock import Clock


class DeskClock(Clock):
    """UTC of the machine, or always the instant given. Monotonic time has no meaning here and is zero."""

    def monotonic_s(self) -> float:
        """Zero: nobody measures an interval between signatures."""
        return 0.0
