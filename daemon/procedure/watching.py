"""Reading all channels in turn: what is hot, what is good, and who must be left out."""

from __future__ import annotations

from collections.abc import Generator, Iterator

from daemon.actions import Action, Mark, Measure
from daemon.channels import ITEM_ROLES, ChannelFacts, out_of_band
from daemon.observations import Failed, Observation, Resistance
from daemon.procedure.script import Script

_BAD_IN_A_ROW = 3
_MISPLACED_IN_A_ROW = 10
_STEP_K = 2.0
_AWAY_K = 5.0
_SCAN_S = 60.0


class Watching:
    """Keeps the newest temperature of each channel and leaves out items that stay bad.

    A single reading that cannot be a temperature here is not used: it is quarantined by being left in the
    record alone.
    """

    def __init__(self, script: Script) -> None:
        self.script = script
        self.left_out: set[int] = set()
        self.temperatures_c: dict[int, float] = {}
        self.resistances_ohm: dict[int, float] = {}
        self.now_s = 0.0
        self._bad: dict[int, int] = {}
        self._away_k: dict[int, tuple[float, float]] = {}
        self._fastest = max((1.5 * point.ramp_k_per_min for point in script.points), default=0.0) / 60.0

    @property
    def items(self) -> tuple[int, ...]:
        """Channels under test that are still good."""
        return tuple(c for c in self.script.item_channels if c not in self.left_out)

    def turn(self) -> Iterator[int]:
        """Channels of one turn: the reference, the items, the head sensors."""
        yield self.script.reference_channel
        yield from self.items
        yield from self.script.head_channels

    def scan(self, current_ma: float) -> Generator[Action, Observation, list[Resistance]]:
        """One turn over all channels; returns the good readings."""
        good = []
        for channel in tuple(self.turn()):
            observation = yield Measure(channel, current_ma)
            reading = yield from self.take(observation)
            if reading is not None:
                good.append(reading)
        return good

    def take(self, observation: Observation) -> Generator[Action, Observation, Resistance | None]:
        """Take note of an observation; a channel that stays bad is left out."""
        self.now_s = observation.when_s
        if isinstance(observation, Failed) or not isinstance(observation, Resistance):
            return None
        facts = self.script.channels[observation.channel]
        reason, limit = out_of_band(facts, observation), _BAD_IN_A_ROW
        if not reason and observation.reading.value is not None:
            temperature_c = facts.to_celsius(observation.reading.value)
            # A probe that was pulled is read on for a while, for the guards to see it.
            reason, limit = self._misplaced(facts, temperature_c), _MISPLACED_IN_A_ROW
            if not reason:
                self._bad[facts.channel] = 0
                self.temperatures_c[facts.channel] = temperature_c
                self.resistances_ohm[facts.channel] = observation.reading.value
                return observation
        self._bad[facts.channel] = self._bad.get(facts.channel, 0) + 1
        if self._bad[facts.channel] >= limit and facts.channel in self.items:
            yield from self.leave_out(facts.channel, reason)
        return None

    def leave_out(self, channel: int, reason: str) -> Generator[Action, Observation, None]:
        """Read an item no more, for the rest of the run; nobody who turns good later is taken in again."""
        self.left_out.add(channel)
        name = self.script.channels[channel].name
        yield Mark("item_left_out", {"channel": channel, "name": name, "reason": reason})

    def _misplaced(self, facts: ChannelFacts, temperature_c: float) -> str:
        """Why an item cannot be where the reference is; a step of both together is the source's own.

        A difference that steps is doubted for as long as the fastest ramp does not explain it.
        """
        reference_c = self.temperatures_c.get(self.script.reference_channel)
        if facts.role not in ITEM_ROLES or reference_c is None:
            return ""
        away_k = temperature_c - reference_c
        lag_k = self._fastest * _SCAN_S
        if not abs(away_k) <= _AWAY_K + facts.allowance_k + 0.005 * abs(reference_c) + lag_k:
            return f"{away_k:+.1f} K away from the reference: not in the source, or bad"
        believed_s, believed_k = self._away_k.get(facts.channel, (self.now_s, away_k))
        possible_k = _STEP_K + lag_k + self._fastest * (self.now_s - believed_s)
        if not abs(away_k - believed_k) <= possible_k:
            return f"stepped by {away_k - believed_k:+.1f} K against the reference"
        self._away_k[facts.channel] = (self.now_s, away_k)
        return ""
