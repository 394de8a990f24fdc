"""What the executor knows of the guardian: three words, said at the right moments."""

from __future__ import annotations

from typing import Protocol


class Heart(Protocol):
    """Says that the daemon lives; the guardian parks the source when it stops saying so."""

    def arm(self) -> None:
        """Before the first command: from now on silence counts as death; raises GuardianFailed."""

    def beat(self, cycle: int, judged: int, age_s: float) -> str:
        """End of a control cycle: its number, observations judged so far, age of the newest reading.

        Returns why the run must park because nobody guards it any more; empty when somebody does.
        """

    def disarm(self) -> None:
        """The source was brought to a safe end."""
