"""The controller's set-point is not the one this program commanded."""

from __future__ import annotations

from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Observation, Source

_SETTLING_S = 6.0


class SetPointReadback(Guard):
    """Compares the set-point read back at every look with the commanded one."""

    name = "set_point_readback"
    hazard = "set-point differs from the command: front panel touched, lost write, a second master"
    reads = "source"
    reaction = Reaction.PARK
    why = "someone or something else drives the heat source"
    thresholds = {
        "difference_k": Threshold(0.1, "K", "lower"),
        "looks": Threshold(2, "looks in a row", "lower"),
    }

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks after two looks in a row with a set-point nobody commanded."""
        if not isinstance(observation, Source) or situation.commanded_c is None:
            return None
        read_c = observation.status.set_point.value
        if read_c is None or situation.now_s - situation.commanded_at_s < _SETTLING_S:
            return None
        resolution_k = situation.capabilities.set_point_resolution_k
        limit_k = max(self.figures["difference_k"], 2 * resolution_k)
        difference_k = read_c - situation.commanded_c
        self.standing.update(not abs(difference_k) <= limit_k, situation.now_s)
        if self.standing.count < self.figures["looks"]:
            return None
        sentence = (
            f"the controller's set-point reads {read_c:.2f} °C, commanded was "
            f"{situation.commanded_c:.2f} °C: someone changed it at the front panel, another program writes "
            "to this controller, or it fell back by itself after a silence"
        )
        return self.verdict(sentence, difference_k, limit_k, "K")
