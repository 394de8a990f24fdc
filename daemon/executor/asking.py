"""Asking a person at the bench to do something: the request, and the word that it is done."""

from __future__ import annotations

from daemon.actions import AskPerson, HearPerson
from daemon.observations import Done, Heard, Observation
from drivers.clock import Clock


class Asking:
    """At most one request stands at a time; a word said when nothing was asked means nothing."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._asked = self._done = False

    def carry_out(self, action: AskPerson | HearPerson) -> Observation:
        """Nothing is waited for here: the procedure reads on, so that no guard goes blind."""
        now_s = self._clock.monotonic_s()
        if isinstance(action, AskPerson):
            self._asked, self._done = True, False
            return Done(now_s)
        return Heard(now_s, self._done)

    def proceed(self) -> bool:
        """It is done; returns whether anything was asked."""
        self._done = self._asked
        self._asked = False
        return self._done
