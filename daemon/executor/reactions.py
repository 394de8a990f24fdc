"""What a run does in each state that is not running: hold and watch, park, or cut and watch."""

from __future__ import annotations

import math
from collections.abc import Collection, Generator

from daemon.actions import Action, Mark, SwitchCooling, SwitchHeater, Wait, WriteRamp, WriteSetPoint
from daemon.observations import Failed, Observation
from daemon.procedure.advice import ANNEAL_ABOVE_C, Advice
from daemon.procedure.parking import Seen, is_cool, look, park, rests
from daemon.procedure.script import GivenUp, Procedure, RunEnded, Script
from daemon.procedure.watching import Watching
from daemon.states import State

LONGEST_HOLD_S = 1800.0
"""A hold that nobody ends becomes a park."""

STOPS_COOLING = frozenset({"falling_too_fast", "under_limit"})
"""Guards whose hold switches fan and chiller off: the heat stays, since cutting it would add to the shock."""

LONGEST_CUT_S = 24 * 3600.0
"""So long a cut is watched and its alarm repeated; then the record is closed as it stands."""

_BETWEEN_CUTS_S = 30.0
_BETWEEN_LOOKS_S = 3.0
_STUCK_RISE_K = 5.0
_STUCK_AFTER_S = 300.0


class HoldTooLong(RunEnded):
    """Nobody ended the hold in time."""


class Reactions:
    """Makes the script for each state."""

    def __init__(self, script: Script) -> None:
        self._script = script

    def at_rest(self, state: State) -> str:
        """What the source is when a park or a cut has come to its end."""
        held = self._script.source.molten if state is State.PARKING else ""
        return f"the source is down, and holds {held} molten" if held else "the source is cool"

    def script(self, state: State, guards: Collection[str] = ()) -> Procedure:
        """Who drives in this state, with the guards that stand; raises KeyError where none is needed."""
        if state is State.HOLDING:
            return self._hold(stop_cooling=not STOPS_COOLING.isdisjoint(guards))
        scripts = {State.PARKING: self._park, State.CUT: self._cut}
        return scripts[state]()

    def _hold(self, *, stop_cooling: bool) -> Procedure:
        """Set-point stays, readings go on; ends in HoldTooLong."""
        watching = Watching(self._script)
        started_s: float | None = None
        if stop_cooling:
            yield from self._slow_down()
        while True:
            yield Wait(1.0)
            yield from watching.scan(self._script.scan_current_ma)
            started_s = watching.now_s if started_s is None else started_s
            if watching.now_s - started_s > LONGEST_HOLD_S:
                raise HoldTooLong(f"held for {LONGEST_HOLD_S / 60:.0f} min and nobody came")

    def _slow_down(self) -> Generator[Action, Observation, None]:
        """Cooling off, and the ramp as slow as everything here asks: a restart may have forgotten it."""
        source = self._script.source
        if source.cooling_switch:
            yield SwitchCooling(False)
        if source.can_ramp:
            hottest_c = max(point.temperature_c for point in self._script.points)
            slowest = min(point.ramp_k_per_min for point in self._script.points)
            yield WriteRamp(min(slowest, source.cooling_k_per_min(hottest_c)))

    def _park(self) -> Procedure:
        yield from park(self._script, Watching(self._script))

    def _cut(self) -> Procedure:
        """Heater off, then go on recording until the source is cool and stays so; raises GivenUp.

        The command is given again without end: nothing else is left to do when it fails, and a source
        whose power comes back may have forgotten it. Fan, chiller and stirrer are not touched.
        """
        watching, advice, stuck = Watching(self._script), Advice(self._script, cut=True), _Stuck()
        yield from self._off_at_once(watching)
        yield from watching.scan(self._script.scan_current_ma)
        yield from self._say_what_to_anneal(watching)
        first: Seen | None = None
        started_s, commanded_s = watching.now_s, -math.inf
        while True:
            seen = yield from look(self._script, watching)
            if seen.set_point_c is None or seen.when_s - commanded_s > _BETWEEN_CUTS_S:
                confirmed = yield from self._heater_off(seen)
                commanded_s = seen.when_s if confirmed else -math.inf
            yield from advice.say(seen.temperature_c)
            yield from stuck.say(seen)
            answers = seen.set_point_c is not None
            # A source that comes back with its power may heat again: its rest counts only while it answers.
            first = (
                (first or seen) if answers and is_cool(self._script, seen.temperature_c, cut=True) else None
            )
            stays = rests(first, seen) if first is not None else None
            if stays:
                yield Mark("cut_and_cool", {"temperature_c": round(seen.temperature_c, 2)})
                return
            first = seen if stays is False else first
            if seen.when_s - started_s > LONGEST_CUT_S:
                known = answers or self._script.reference_channel in watching.temperatures_c
                raise GivenUp(_why_given_up(seen, known))
            yield from watching.scan(self._script.scan_current_ma)
            yield Wait(_BETWEEN_LOOKS_S)

    def _off_at_once(self, watching: Watching) -> Generator[Action, Observation, None]:
        """A switch needs no look; a set-point written blindly could lie above the source and heat it."""
        if self._script.source.heater_switch:
            yield from self._heater_off(None)
            return
        seen = yield from look(self._script, watching)
        if seen.set_point_c is None:
            # The controller says nothing; the reference still tells how hot the source is.
            yield from watching.scan(self._script.scan_current_ma)
            seen = yield from look(self._script, watching)
        yield from self._heater_off(seen)

    def _heater_off(self, seen: Seen | None) -> Generator[Action, Observation, bool]:
        """Switch it off, and take the set-point down where it is not down yet; True when all was confirmed.

        A source that can ramp comes down to parking by its own ramp. One that cannot would throw its
        cooling on at a far lower set-point, so that one follows the measured temperature down.
        """
        source = self._script.source
        answers: list[Observation] = []
        if source.heater_switch:
            answers.append((yield SwitchHeater(False)))
        if seen is None or seen.set_point_c is None:
            # An unknown set-point may be lower than parking, so it is left while the switch does the work.
            if seen is not None and not source.heater_switch:
                yield WriteSetPoint(
                    round(max(source.minimum_c, min(source.parking_c, seen.temperature_c)), 2)
                )
            return False
        low_c = source.parking_c
        if source.heater_switch and not source.can_ramp:
            low_c = max(low_c, seen.temperature_c)
        low_c = round(max(source.minimum_c, min(low_c, seen.temperature_c)), 2)
        if seen.set_point_c > low_c:
            answers.append((yield WriteSetPoint(low_c)))
        return not any(isinstance(answer, Failed) for answer in answers)

    def _say_what_to_anneal(self, watching: Watching) -> Generator[Action, Observation, None]:
        hot = [
            facts.name
            for channel, facts in self._script.channels.items()
            if facts.needs_annealing and watching.temperatures_c.get(channel, -273.15) > ANNEAL_ABOVE_C
        ]
        if hot:
            sentence = (
                f"cut above 450 °C: anneal {', '.join(hot)} and check at the water triple point before use"
            )
            yield Mark("anneal_before_use", {"thermometers": hot, "sentence": sentence})


def _why_given_up(seen: Seen, known: bool) -> str:
    hours = LONGEST_CUT_S / 3600.0
    where = f"the source is at {seen.temperature_c:.1f} °C" if known else "nobody knows how hot the source is"
    answers = "" if seen.set_point_c is not None else ", and its controller does not answer"
    return f"{hours:.0f} h after the cut {where}{answers}; nobody came: switch it off at the main switch"


class _Stuck:
    """Says once that a source whose heater is off goes on rising."""

    def __init__(self) -> None:
        self._lowest: Seen | None = None
        self._said = False

    def say(self, seen: Seen) -> Generator[Action, Observation, None]:
        """Mark it when five kelvin were gained, five minutes after the cut."""
        if self._lowest is None or seen.temperature_c < self._lowest.temperature_c:
            self._lowest = seen
        rise_k = seen.temperature_c - self._lowest.temperature_c
        late = seen.when_s - self._lowest.when_s > _STUCK_AFTER_S
        if self._said or not (late and rise_k > _STUCK_RISE_K):
            return
        self._said = True
        sentence = (
            f"not protected: the heater was switched off and the source rose by {rise_k:.0f} K since. Its "
            "relay is stuck, and no command stops it: open the contactor or the main switch now"
        )
        yield Mark("not_protected", {"temperature_c": round(seen.temperature_c, 1), "sentence": sentence})
