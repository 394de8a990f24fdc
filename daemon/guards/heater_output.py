"""More heat than before for the same temperature."""

from __future__ import annotations

from collections import deque

from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Source

_SPAN_S = 300.0
_SPANS_BACK = 2


class OutputJumped(Guard):
    """At rest on its set-point the source suddenly needs far more heater output."""

    name = "output_jumped"
    hazard = "a source at rest needs far more heat than just before: fluid lost, a leak, a failing heater"
    reads = "source"
    reaction = Reaction.HOLD
    why = "where no level is measured a leak shows first in the heater; a person looks before heat goes on"
    thresholds = {
        "more_percent": Threshold(20.0, "% of full output above that of ten minutes before", "lower")
    }

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._means: deque[float] = deque(maxlen=_SPANS_BACK + 1)
        self._begun_s, self._sum, self._looks = 0.0, 0.0, 0

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks at the end of five minutes whose mean output is that much higher."""
        if not isinstance(observation, Source) or observation.status.output_percent is None:
            return None
        if not situation.settled() or situation.heater_commanded is False:
            self._means.clear()
            self._looks = 0
            return None
        if self._looks == 0:
            self._begun_s, self._sum = situation.now_s, 0.0
        self._sum += observation.status.output_percent
        self._looks += 1
        if situation.now_s - self._begun_s < _SPAN_S:
            return None
        self._means.append(self._sum / self._looks)
        self._looks = 0
        return self._compare(situation)

    def _compare(self, situation: Situation) -> Verdict | None:
        before, now = self._means[0], self._means[-1]
        more, limit = now - before, self.figures["more_percent"]
        if len(self._means) <= _SPANS_BACK or more <= limit:
            return None
        sentence = (
            f"the heater gives {now:.0f} % to hold {situation.commanded_c:.1f} °C, ten minutes before it was "
            f"{before:.0f} %: look at level, lid and floor for a leak before heat goes on"
        )
        return self.verdict(sentence, more, limit, "%")
