"""Water out of the room's air on cold thermometers."""

from __future__ import annotations

import math

from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Monitored, Observation

# Magnus form over water, WMO-No. 8, part I, chapter 4 (from memory).
_A, _B_C = 17.62, 243.12


class Condensation(Guard):
    """A head, or the room itself, is at the dew point while the source is cold."""

    name = "condensation"
    hazard = "water condenses on heads and connectors above a cold source, or freezes in its wells"
    reads = "monitored"
    reaction = Reaction.MARK
    latched = False
    why = "water across the leads makes a thermometer read low; what was read meanwhile is doubted"
    thresholds = {"clear_k": Threshold(2.0, "K above the room's dew point", "higher")}

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks at a look at the room; where heads have sensors of their own the coldest of them counts."""
        if not isinstance(observation, Monitored) or observation.role != "ambient":
            return None
        room_c, humidity = (_value(observation, name) for name in ("temperature", "humidity"))
        if room_c is None or humidity is None or not humidity > 0.0 or not situation.source.seen():
            return None
        dew_c = dew_point_c(room_c, humidity)
        if situation.source.temperature_c >= dew_c:
            return None
        place, coldest_c = min(_heads(situation), key=lambda head: head[1], default=("the room", room_c))
        clear_k, limit_k = coldest_c - dew_c, self.figures["clear_k"]
        if clear_k >= limit_k:
            return None
        sentence = (
            f"{place} is at {coldest_c:.1f} °C and the room's dew point is {dew_c:.1f} °C: "
            "water may be on connectors and in wells; dry the air, or wait for a drier day"
        )
        return self.verdict(sentence, clear_k, limit_k, "K")


def dew_point_c(temperature_c: float, humidity_percent: float) -> float:
    """Dew point in °C of air at a temperature and a relative humidity above 0 %; Magnus form over water."""
    gamma = math.log(humidity_percent / 100.0) + _A * temperature_c / (_B_C + temperature_c)
    return _B_C * gamma / (_A - gamma)


def _value(observation: Monitored, name: str) -> float | None:
    reading = observation.readings.get(name)
    return None if reading is None else reading.value


def _heads(situation: Situation) -> list[tuple[str, float]]:
    return [
        (f"the head of {facts.name}", track.temperature_c)
        for channel, facts in situation.channels.items()
        if facts.role == "head" and (track := situation.tracks.get(channel)) is not None
    ]
