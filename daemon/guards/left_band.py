"""A source that was at rest and is not any more."""

from __future__ import annotations

from daemon.guards.guard import Guard, Standing, Threshold
from daemon.guards.situation import Situation, Track
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Source

_WINDOW_S = 600.0
_NEAR_K = 10.0
_SETTLED_AFTER_S = 300.0


class LeftBand(Guard):
    """The reference leaves the set-point after the source had settled there."""

    name = "left_band"
    hazard = "the source leaves the set-point after it had settled: lid open, something cold put in"
    reads = "source"
    reaction = Reaction.HOLD
    latched = False
    why = "no point is measured while the source is disturbed; it usually comes back by itself"
    thresholds = {
        "away_k": Threshold(2.0, "K + 0.2 % of the temperature", "lower"),
        "stands_s": Threshold(60.0, "s", "lower"),
    }

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._settled_for_s: float | None = None
        self._near = Standing()

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks when the reference has been away for a minute."""
        reference, now_s = situation.reference(), situation.now_s
        if situation.commanded_c is None or reference is None or situation.heater_commanded is False:
            return None
        away_k = reference.temperature_c - situation.commanded_c
        limit_k = self.figures["away_k"] + 0.002 * abs(situation.commanded_c)
        away = not abs(away_k) <= limit_k
        # A source that only swings through its set-point has not settled there.
        near_s = self._near.update(situation.settled(for_s=0.0), now_s)
        if not away and near_s >= _SETTLED_AFTER_S and situation.settled():
            self._settled_for_s = situation.changed_at_s
        stands = away and self._settled_for_s == situation.changed_at_s
        if self.standing.update(stands, now_s) < self.figures["stands_s"] or not stands:
            return None
        sentence = (
            f"the reference reads {reference.temperature_c:.2f} °C, {abs(away_k):.1f} K away from the "
            f"set-point {situation.commanded_c:.1f} °C at which the source had settled"
        )
        return self.verdict(sentence, away_k, limit_k, "K")


class Oscillation(Guard):
    """The reference swings at the set-point, ten minutes after ten minutes."""

    name = "oscillation"
    hazard = "the source swings about its set-point and does not come to rest"
    reads = "source"
    reaction = Reaction.HOLD
    latched = False
    why = "badly set control: nothing can be measured, and every swing ages the heater"
    thresholds = {
        "spread_k": Threshold(0.5, "K within ten minutes + 0.1 % of the temperature", "lower"),
        "windows": Threshold(6, "spans of ten minutes in a row", "lower"),
    }

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._begun_s = 0.0
        self._lowest_c = self._highest_c = 0.0
        self._swinging = 0

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks after an hour of swings."""
        reference = situation.reference()
        if not isinstance(observation, Source) or reference is None or situation.commanded_c is None:
            return None
        now_s, t_c = situation.now_s, reference.temperature_c
        away = not abs(t_c - situation.commanded_c) <= _NEAR_K or situation.heater_commanded is False
        if away or situation.changed_at_s > self._begun_s:
            self._swinging = 0
            self._begin(now_s, reference)
            return None
        self._lowest_c, self._highest_c = min(self._lowest_c, t_c), max(self._highest_c, t_c)
        if now_s - self._begun_s < _WINDOW_S:
            return None
        spread_k, limit_k = self._highest_c - self._lowest_c, self.figures["spread_k"] + 0.001 * abs(t_c)
        self._swinging = 0 if spread_k <= limit_k else self._swinging + 1
        self._begin(now_s, reference)
        if self._swinging < self.figures["windows"]:
            return None
        sentence = f"the reference swings by {spread_k:.2f} K within ten minutes, for an hour now"
        return self.verdict(sentence, spread_k, limit_k, "K")

    def _begin(self, now_s: float, reference: Track) -> None:
        self._begun_s = now_s
        self._lowest_c = self._highest_c = reference.temperature_c
