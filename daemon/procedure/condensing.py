"""Points below 0 °C are worth nothing while water gathers on heads and connectors: they are skipped."""

from __future__ import annotations

from collections.abc import Generator

from daemon.actions import Action, LookAtRoom
from daemon.dew_point import clearance
from daemon.observations import Monitored, Observation
from daemon.procedure.script import Point
from daemon.procedure.watching import Watching


class Air:
    """The room's air; once it was too damp, what is left below 0 °C waits for a drier day."""

    def __init__(self, watching: Watching) -> None:
        self._watching = watching
        self._too_damp = ""

    def spoils(self, point: Point) -> Generator[Action, Observation, str]:
        """Look at the room; why this point must be skipped, empty when it need not."""
        script = self._watching.script
        if point.stage != "point" or point.temperature_c >= 0.0 or script.clear_of_dew_k is None:
            return ""
        if not self._too_damp:
            observation = yield LookAtRoom()
            if not isinstance(observation, Monitored):
                return ""
            near = clearance(observation, self._heads())
            if near is not None and near.dew_c > point.temperature_c and near.clear_k < script.clear_of_dew_k:
                self._too_damp = f"{near}: water on heads and connectors makes thermometers read low"
        return self._too_damp

    def _heads(self) -> list[tuple[str, float]]:
        script, known = self._watching.script, self._watching.temperatures_c
        return [(script.channels[c].name, known[c]) for c in script.head_channels if c in known]
