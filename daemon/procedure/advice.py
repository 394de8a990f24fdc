"""What may be touched and what must not be moved, said anew whenever the answer changes."""

from __future__ import annotations

from collections.abc import Generator

from daemon.actions import Action, Mark
from daemon.observations import Observation
from daemon.procedure.script import Script
from daemon.touching import COLD_C, HOT_C

ANNEAL_ABOVE_C = 450.0
"""Above this, fast cooling freezes vacancies into a standard thermometer's platinum. From memory."""


class Advice:
    """Says what is safe, once for each band of temperature."""

    def __init__(self, script: Script, *, cut: bool = False) -> None:
        self._source, self._cut = script.source, cut
        self._delicate = any(facts.needs_annealing for facts in script.channels.values())
        self._said = ""

    def say(self, temperature_c: float) -> Generator[Action, Observation, None]:
        """Mark the advice for `temperature_c` unless it was the last thing said."""
        sentence = self._sentence(temperature_c)
        if sentence != self._said:
            self._said = sentence
            yield Mark("what_is_safe", {"temperature_c": round(temperature_c, 1), "sentence": sentence})

    def _sentence(self, temperature_c: float) -> str:
        if temperature_c > ANNEAL_ABOVE_C:
            quench = " (a standard thermometer is spoilt by fast cooling)" if self._delicate else ""
            return (
                f"above 450 °C: do not move the probes{quench}; leave lid, fan and power as they are. "
                f"Safe to touch: the front panel, the instruments, the main switch{self._held()}"
            )
        if temperature_c > HOT_C:
            return (
                f"above {HOT_C:.0f} °C: do not touch source, fluid or sheaths; leave lid and probes as they "
                f"are. Safe to touch: the front panel, the instruments, the main switch{self._held()}"
            )
        if temperature_c < COLD_C:
            return (
                f"below {COLD_C:.0f} °C: leave the lid shut and let it warm by itself, no flame or spark "
                "near it (cold alcohol passes its flash point on the way); sheaths and fluid only with gloves"
            )
        return f"below {HOT_C:.0f} °C: source and probes may be touched and taken out"

    def _held(self) -> str:
        """What becomes of a fluid that would freeze around the probes."""
        source = self._source
        if not source.molten:
            return ""
        trap = f"{source.molten} freezes at {source.freezing_c:g} °C and traps the sheaths"
        if self._cut:
            return f". The heater is off and {trap}: call whoever knows this bath now"
        return f". {trap[0].upper()}{trap[1:]}: it is held at {source.parking_c:g} °C, its heater stays on"
