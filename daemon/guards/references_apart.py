"""Several references that show different temperatures: the first sign of one that fails."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import fmean

from daemon.channels import ChannelFacts
from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Resistance
from daemon.rolling import RollingLine

_WINDOW_S = 600.0
_FULL = 0.8
_AT_REST_K_PER_S = 0.05 / 60.0


@dataclass(frozen=True, slots=True)
class Seen:
    """A visit to one reference: the mean of both ways of the current, where both were read."""

    channel: int
    when_s: float
    t90_c: float
    current_ma: float


class Visits:
    """Readings joined to visits; each counts by its last reading of either way of the current."""

    def __init__(self) -> None:
        self._channel, self._current_ma = 0, 0.0
        self._by_way: dict[bool, tuple[float, float]] = {}
        self._reversing = False

    def take(self, observation: Resistance, channels: Mapping[int, ChannelFacts]) -> Seen | None:
        """The visit to a reference that this reading ends; None when it ends none that can be used.

        Once the current is known to be reversed, one way alone carries its thermal EMF and is not used.
        """
        current_ma, ended = abs(observation.current_ma), None
        if (observation.channel, current_ma) != (self._channel, self._current_ma):
            ended = self._ended()
            self._channel, self._current_ma, self._by_way = observation.channel, current_ma, {}
        facts, ohm = channels.get(observation.channel), observation.reading.value
        t90_c = facts.certificate.t90(ohm) if facts and facts.certificate and ohm is not None else None
        self._reversing |= observation.current_ma < 0.0
        if t90_c is not None:
            self._by_way[observation.current_ma < 0.0] = (observation.when_s, t90_c)
        return ended

    def _ended(self) -> Seen | None:
        if len(self._by_way) <= self._reversing:
            return None
        when_s, t90_c = (fmean(one) for one in zip(*self._by_way.values(), strict=True))
        return Seen(self._channel, when_s, t90_c, self._current_ma)


class ReferencesApart(Guard):
    """The mean difference over ten minutes at rest, by their certificates, from one further reference."""

    name = "references_apart"
    hazard = "two references differ by more than their certificates allow"
    reads = "resistance"
    reaction = Reaction.MARK
    latched = False
    why = (
        "the first sign of a failing reference, or of a source that is not uniform; the mean goes on counting"
    )
    source = "|En| ≤ 1 as in ISO/IEC 17043; the rest common practice, no source"
    thresholds = {"factor": Threshold(1.0, "times the combined U of the certificates + lag", "lower")}

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._visits = Visits()
        self._first = RollingLine(_WINDOW_S)
        self._before: Seen | None = None
        self._waiting: dict[int, Seen] = {}
        self._apart_mk: defaultdict[int, RollingLine] = defaultdict(lambda: RollingLine(_WINDOW_S))

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when the window is full; what is read waits for the first reference's next visit."""
        if not isinstance(observation, Resistance):
            return None
        ended = self._visits.take(observation, situation.channels)
        if ended is None:
            return None
        if ended.channel != situation.reference_channel:
            self._waiting[ended.channel] = ended
            return None
        self._pair(ended)
        verdicts = (self._judged(channel, situation) for channel in self._apart_mk)
        return next((verdict for verdict in verdicts if verdict is not None), None)

    def allowed_mk(self, certificates_mk: float, places_mk: float) -> float:
        """What two references may differ by at rest."""
        return self.figures["factor"] * certificates_mk

    def _pair(self, now: Seen) -> None:
        """Hold what waits, at the same current, against the first reference at its own time."""
        before, self._before, waiting, self._waiting = self._before, now, self._waiting, {}
        if before is None or not 0.0 < now.when_s - before.when_s <= _WINDOW_S:
            self._first.clear()
            self._apart_mk.clear()
            before = None
        self._first.add(now.when_s, now.t90_c)
        if before is None:
            return
        rate = (now.t90_c - before.t90_c) / (now.when_s - before.when_s)
        for channel, seen in waiting.items():
            if seen.current_ma == now.current_ma:
                first_c = before.t90_c + rate * (seen.when_s - before.when_s)
                self._apart_mk[channel].add(seen.when_s, 1e3 * (seen.t90_c - first_c))

    def _judged(self, channel: int, situation: Situation) -> Verdict | None:
        apart, rate, other = self._apart_mk[channel], abs(self._first.slope), situation.channels[channel]
        if not rate <= _AT_REST_K_PER_S:
            apart.clear()
        full = min(apart.span_s, self._first.span_s) >= _FULL * _WINDOW_S
        first = situation.channels[situation.reference_channel]
        if not full or first.certificate is None or other.certificate is None:
            return None
        certificates_mk = math.hypot(first.certificate.expanded_mk, other.certificate.expanded_mk)
        allowed_mk = self.allowed_mk(certificates_mk, situation.limits.places_mk(self._first.last))
        allowed_mk += 2e3 * rate * situation.limits.coast_s
        if abs(apart.mean) <= allowed_mk:
            return None
        sentence = (
            f"{other.name} shows {apart.mean:+.1f} mK beside {first.name} over ten minutes (allowed "
            f"{allowed_mk:.1f} mK): one of them has changed, or the source is not uniform"
        )
        return self.verdict(sentence, apart.mean, allowed_mk, "mK", channel)


class ReferencesFarApart(ReferencesApart):
    """The same, beyond what the places in the source could explain as well."""

    name = "references_far_apart"
    hazard = "two references differ by far more than their certificates and the source allow"
    reaction = Reaction.HOLD
    why = "one of them has failed and nobody knows which: no point is worth reading until a person has looked"
    source = "common practice, no source"
    thresholds = {"factor": Threshold(3.0, "times the combined U of certificates and bench + lag", "lower")}

    def allowed_mk(self, certificates_mk: float, places_mk: float) -> float:
        """What no uniformity of the source explains."""
        return self.figures["factor"] * math.hypot(certificates_mk, places_mk)
