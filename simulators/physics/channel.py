"""One channel of the scanner: a probe, its leads, and the current that flows in it.

Idle channels keep the current last used on them, so that switching channels does not disturb the
self-heating; a change of current lets it creep to its new value.
"""

from __future__ import annotations

import math
from enum import Enum

from simulators.physics.probe import Probe

SHORT_OHM = 0.02
IDLE_CURRENT_MA = 1.0


class Leads(Enum):
    """State of the leads."""

    GOOD = "good"
    OPEN = "open"
    SHORT = "short"


class Channel:
    """What the bridge meets at its terminals; faults act by the plain attributes.

    `step_k` shifts the shown temperature, `drift_k_per_min` lets it run away from `drift_from_s` on.
    """

    def __init__(self, probe: Probe) -> None:
        self.probe = probe
        self.leads = Leads.GOOD
        self.noise_factor = 1.0
        self.emf_uv = probe.truth.emf_uv
        self.step_k = 0.0
        self.drift_k_per_min = 0.0
        self.drift_from_s = 0.0
        self._current_ma = IDLE_CURRENT_MA
        self._changed_s = -math.inf
        self._heating_k_at_change = 0.0

    def drive(self, when_s: float, current_ma: float) -> None:
        """Let this current in mA flow from now on."""
        if current_ma != self._current_ma:
            self._heating_k_at_change = self._heating_k(self._cold_ohm(when_s), when_s)
            self._current_ma, self._changed_s = current_ma, when_s

    def ohm(self, when_s: float) -> float:
        """Resistance in Ω between the terminals at this moment; infinite for open leads."""
        if self.leads is not Leads.GOOD:
            return math.inf if self.leads is Leads.OPEN else SHORT_OHM
        heating_k = self._heating_k(self._cold_ohm(when_s), when_s)
        return self.probe.resistance_ohm(self._shown_c(when_s) + heating_k)

    def _cold_ohm(self, when_s: float) -> float:
        return self.probe.resistance_ohm(self._shown_c(when_s))

    def _shown_c(self, when_s: float) -> float:
        t_c = self.probe.temperature_at_c(when_s) + self.step_k
        if self.drift_k_per_min:
            t_c += self.drift_k_per_min * (when_s - self.drift_from_s) / 60.0
        return t_c

    def _heating_k(self, cold_ohm: float, when_s: float) -> float:
        """Self-heating in K, creeping to its settled value after a change of current."""
        truth = self.probe.truth
        settled_k = truth.self_heating_k(cold_ohm, self._current_ma)
        lags = (when_s - self._changed_s) / truth.self_heating_lag_s
        if lags > 40.0:
            return settled_k
        return settled_k + (self._heating_k_at_change - settled_k) * math.exp(-lags)
