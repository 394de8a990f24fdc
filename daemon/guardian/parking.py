"""Parking over the guardian's own way: terminator, park commands, read-back, three tries, then look again."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress

from daemon.guardian.now import monotonic_s, wait
from daemon.guardian.orders import Order, Orders
from daemon.guardian.talk import NotUnderstood, Talk
from daemon.guardian.wire import open_wire

TRIES = 3
_BETWEEN_TRIES_S = 0.2
_COLD_ENOUGH_K = 10.0
_COOL_LOOKS = 2

Say = Callable[[str], None]


class Parking:
    """Brings one source down; `say` writes the log.

    A set-point is only ever lowered: one that already stands at or below the parking temperature is
    left alone, so that parking never adds heat.
    """

    def __init__(self, orders: Orders, say: Say) -> None:
        self._way, self._script, self._limits = orders.way, orders.script, orders.limits
        self._say = say

    def until_cool(self) -> bool:
        """Park, then look again until the source is cool; False when the longest watch is over."""
        end_s = monotonic_s() + self._limits.longest_s
        parked, cool_looks = self.now(), 0
        while monotonic_s() < end_s:
            wait(self._limits.recheck_s)
            temperature_c = self._look_again() if parked else None
            if temperature_c is None:
                parked, cool_looks = self.now(), 0
                continue
            cool_looks = cool_looks + 1 if temperature_c <= self._script.cool_c else 0
            if cool_looks >= _COOL_LOOKS:
                if not self._script.held:
                    self.cut()
                self._say(f"{'held' if self._script.held else 'cool'} at {temperature_c:.1f} °C: done")
                return True
        self._say("the longest watch is over and the source is not cool")
        return False

    def now(self) -> bool:
        """Three tries to park; when none is confirmed, heat is ended by every safe step there is."""
        for attempt in range(1, TRIES + 1):
            try:
                temperature_c, set_point_c = self._try()
                self._say(f"parked: {temperature_c:.1f} °C, set-point reads {set_point_c:g} °C")
                return True
            except (OSError, NotUnderstood) as error:
                self._say(f"try {attempt} of {TRIES} failed: {error}")
                wait(_BETWEEN_TRIES_S)
        self.cut()
        return False

    def cut(self) -> None:
        """Every safe step, each tried even if the one before failed."""
        try:
            with self._talk() as talk:
                for order in self._lowering(talk, self._script.safe):
                    try:
                        talk.order(order)
                        self._say(f"{order.name}: done")
                    except NotUnderstood as error:
                        self._say(f"not confirmed: {error}")
        except OSError as error:
            self._say(f"safe steps not sent: {error}")

    def drill(self) -> str:
        """Park a cold source once, with read-back; returns what is wrong, empty when all is well."""
        script = self._script
        try:
            with self._talk() as talk:
                temperature_c, _ = talk.look()
                if not temperature_c <= script.parking_c + _COLD_ENOUGH_K:
                    return f"the source is at {temperature_c:.1f} °C; the drill is for a cold source"
                if not script.held:
                    talk.tell(script.safe)
                if script.proof is not None:
                    self._moved(talk, (script.proof,))
                self._moved(talk, script.park)
        except (OSError, NotUnderstood) as error:
            return str(error) or type(error).__name__
        return ""

    def _moved(self, talk: Talk, orders: tuple[Order, ...]) -> None:
        wanted_c = next(order.towards_c for order in orders if order.towards_c is not None)
        talk.tell(orders)
        _, read_c = talk.look()
        if not abs(read_c - wanted_c) <= self._script.within_k:
            raise NotUnderstood(f"set-point {wanted_c:g} °C was sent, {read_c:g} °C is read back")

    def _try(self) -> tuple[float, float]:
        with self._talk() as talk:
            failed = ""
            for order in self._lowering(talk, self._script.park):
                try:
                    talk.order(order)
                except NotUnderstood as error:
                    # A refused ramp must not keep the set-point from going down.
                    failed = str(error)
            temperature_c, set_point_c = talk.look()
        if not set_point_c <= self._highest_parked_c:
            raise NotUnderstood(failed or f"the set-point reads {set_point_c:g} °C")
        return temperature_c, set_point_c

    def _lowering(self, talk: Talk, orders: tuple[Order, ...]) -> tuple[Order, ...]:
        """The orders less those that would raise the set-point; all of them when it cannot be read."""
        with suppress(NotUnderstood):
            _, set_point_c = talk.look()
            return tuple(o for o in orders if o.towards_c is None or o.towards_c < set_point_c)
        return orders

    def _look_again(self) -> float | None:
        """Temperature in °C; None when the source is not parked any more or does not answer."""
        try:
            with self._talk() as talk:
                temperature_c, set_point_c = talk.look()
        except (OSError, NotUnderstood) as error:
            self._say(f"no look: {error}")
            return None
        if not set_point_c <= self._highest_parked_c:
            self._say(f"the set-point was changed to {set_point_c:g} °C")
            return None
        return temperature_c

    @property
    def _highest_parked_c(self) -> float:
        return self._script.parking_c + self._script.within_k * (1.0 + 1e-9)

    @contextmanager
    def _talk(self) -> Iterator[Talk]:
        with closing(open_wire(self._way)) as wire:
            talk = Talk(wire, self._script)
            talk.begin()
            yield talk
