"""A thermometer in a heat source: what its element really has, and what its terminals show.

Sheath and element are two first-order lags, solved exactly for an input that runs linearly within
each second. A probe follows the source's history only when somebody looks at it, so an idle one
costs nothing; the result is the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from operator import sub

from simulators.physics.heat import HeatSource
from simulators.physics.matrix import ramped_input_step
from simulators.physics.platinum import Characteristic, Insulation

RATE_WINDOW_S = 60
LOOK_AHEAD_S = 3.0
IN_AIR_LAG_FACTOR = 8.0
HYSTERESIS_PLAY_K = 20.0


@dataclass(frozen=True)
class ProbeTruth:
    """Everything about one thermometer that a calibration tries to find or must survive.

    Defaults: common practice, no source. `coupling` is the share of (medium - room) that the sensor
    sees: 1 for an element in the medium, about 0.1 for a sensor in a probe's head.
    `position_k` and `position_slope` are how far its place is from the mean of the source, in K and in
    K per kelvin above room temperature. Drift counts only above `drifts_above_c`.
    `emf_uv` is the thermal EMF in its leads, in µV.
    """

    serial: str
    channel: int
    characteristic: Characteristic
    lags_s: tuple[float, float] = (4.0, 1.5)
    self_heating_mw_per_k: float = 30.0
    self_heating_lag_s: float = 0.8
    immersion_mm: float = 300.0
    stem_length_mm: float = 14.0
    stem_share: float = 0.9
    insulation: Insulation = field(default_factory=Insulation)
    position_k: float = 0.0
    position_slope: float = 0.0
    coupling: float = 1.0
    hysteresis_ppm: float = 0.0
    emf_uv: float = 0.0
    drift_ppm_per_h: float = 0.0
    shift_ppm: float = 0.0
    drifts_above_c: float = math.inf

    def resistance_ohm(self, t_c: float, current_ma: float = 0.0) -> float:
        """Settled resistance in Ω with the element's surroundings at t90 in °C; 0 mA is zero power."""
        ohm = self._leaky_ohm(t_c)
        if current_ma == 0.0:
            return ohm
        return self._leaky_ohm(t_c + self.self_heating_k(ohm, current_ma))

    def self_heating_k(self, ohm: float, current_ma: float) -> float:
        """Settled self-heating in K at this resistance and current."""
        return ohm * current_ma * current_ma * 1e-3 / self.self_heating_mw_per_k

    def _leaky_ohm(self, t_c: float) -> float:
        return self.insulation.beside(self.characteristic.resistance_ohm(t_c), t_c)

    @property
    def stem_error(self) -> float:
        """Share of (medium - room) lost along the stem (common practice, no source)."""
        return self.stem_error_at(0.0)

    def stem_error_at(self, withdrawn_mm: float) -> float:
        """The same when it is this much less deep."""
        return self.stem_share * math.exp(-(self.immersion_mm - withdrawn_mm) / self.stem_length_mm)


class Probe:
    """A thermometer in the source, with the extremes it has really met (the oracle of the tests).

    `layering` is how far its place departs, in K per kelvin above the room, once the stirrer stands still.
    """

    def __init__(self, truth: ProbeTruth, source: HeatSource, layering: float = 0.0) -> None:
        self.truth = truth
        self._source = source
        self._layering = layering
        self._pulled = False
        self._withdrawn_mm = 0.0
        self._extra_k = 0.0
        self._set_input()
        self._seconds = source.seconds
        start_c = self._inputs_c(self._seconds, self._seconds)[0]
        self._sheath_c = self._play_c = start_c
        self._recent_c = [start_c]
        self._aged_ppm = self._hysteresis = 0.0
        self._shifted = False
        self._highest_c = self._lowest_c = start_c
        self._largest_rise_k = self._largest_fall_k = 0.0

    @property
    def temperature_c(self) -> float:
        """True element temperature in °C at the source's latest second, without self-heating."""
        self.follow()
        return self._recent_c[-1]

    @property
    def highest_c(self) -> float:
        """Highest true element temperature so far, °C."""
        self.follow()
        return self._highest_c

    @property
    def lowest_c(self) -> float:
        """Lowest true element temperature so far, °C."""
        self.follow()
        return self._lowest_c

    @property
    def fastest_heating_k_per_min(self) -> float:
        """Largest true rise over 60 s so far."""
        self.follow()
        return self._largest_rise_k

    @property
    def fastest_cooling_k_per_min(self) -> float:
        """Largest true fall over 60 s so far, as a positive number."""
        self.follow()
        return -self._largest_fall_k

    @property
    def pulled(self) -> bool:
        """True while the probe hangs in the room."""
        return self._pulled

    @pulled.setter
    def pulled(self, out: bool) -> None:
        self.follow()
        self._pulled = out
        self._set_input()

    @property
    def withdrawn_mm(self) -> float:
        """How far the probe is out of its usual depth."""
        return self._withdrawn_mm

    @withdrawn_mm.setter
    def withdrawn_mm(self, distance_mm: float) -> None:
        self.follow()
        self._withdrawn_mm = distance_mm
        self._set_input()

    def warm(self, kelvin: float) -> None:
        """Add `kelvin` to what the sensor's surroundings have (a hot draught at the head)."""
        self.follow()
        self._extra_k += kelvin
        self._set_input()

    def temperature_at_c(self, when_s: float) -> float:
        """Element temperature in °C at a moment up to a few seconds after the latest step."""
        self.follow()
        recent = self._recent_c
        slope = recent[-1] - recent[-2] if len(recent) > 1 else 0.0
        return recent[-1] + slope * min(when_s - self._seconds, LOOK_AHEAD_S)

    def resistance_ohm(self, t_c: float, current_ma: float = 0.0) -> float:
        """Settled resistance in Ω with its present drift and hysteresis, surroundings at `t_c`."""
        ohm = self.truth.resistance_ohm(t_c, current_ma)
        ppm = self._aged_ppm + self._hysteresis * self.truth.hysteresis_ppm
        return ohm * (1.0 + 1e-6 * ppm) if ppm else ohm

    def follow(self) -> None:
        """Catch up with the source."""
        begin, end = self._seconds, self._source.seconds
        if begin == end:
            return
        new = self._elements_c(self._inputs_c(begin, end))
        self._seconds = end
        self._note_extremes(new)
        if self.truth.hysteresis_ppm:
            self._play(new)
        if self.truth.drifts_above_c < math.inf:
            self._age(new)

    def _set_input(self) -> None:
        truth = self.truth
        stem_error = truth.stem_error_at(self._withdrawn_mm)
        share = truth.coupling * (1.0 + truth.position_slope - stem_error)
        self._share = 0.0 if self._pulled else share
        self._offset_k = self._extra_k + (0.0 if self._pulled else truth.position_k)
        factor = IN_AIR_LAG_FACTOR if self._pulled else 1.0
        first, second = (factor * lag for lag in truth.lags_s)
        system = [[-1.0 / first, 0.0], [1.0 / second, -1.0 / second]]
        self._rows = ramped_input_step(system, [1.0 / first, 0.0], 1.0)

    def _inputs_c(self, begin: int, end: int) -> list[float]:
        """What surrounds the sheath at each second from `begin` to `end`, both included."""
        source, share, offset = self._source, self._share, self._offset_k
        medium, air = source.medium_c[begin : end + 1], source.air_c[begin : end + 1]
        inputs = [a + offset + share * (m - a) for m, a in zip(medium, air, strict=True)]
        layers = source.layering[begin : end + 1]
        if layers[-1] and not self._pulled:
            k = self._layering
            return [u + k * s * (m - a) for u, s, m, a in zip(inputs, layers, medium, air, strict=True)]
        return inputs

    def _elements_c(self, inputs: list[float]) -> list[float]:
        (p11, _, g1, r1), (p21, p22, g2, r2) = self._rows
        q1, q2 = g1 - r1, g2 - r2
        sheath, element = self._sheath_c, self._recent_c[-1]
        u0, elements = inputs[0], []
        for u1 in inputs[1:]:
            element = p21 * sheath + p22 * element + q2 * u0 + r2 * u1
            sheath = p11 * sheath + q1 * u0 + r1 * u1
            u0 = u1
            elements.append(element)
        self._sheath_c = sheath
        return elements

    def _note_extremes(self, new: list[float]) -> None:
        self._highest_c = max(self._highest_c, max(new))
        self._lowest_c = min(self._lowest_c, min(new))
        track = self._recent_c + new
        if len(track) > RATE_WINDOW_S:
            rates = list(map(sub, track[RATE_WINDOW_S:], track))
            self._largest_rise_k = max(self._largest_rise_k, max(rates))
            self._largest_fall_k = min(self._largest_fall_k, min(rates))
        self._recent_c = track[-RATE_WINDOW_S:]

    def _play(self, new: list[float]) -> None:
        """Backlash: -1 after rising, +1 after falling by more than the play."""
        for t_c in new:
            low, high = t_c - HYSTERESIS_PLAY_K / 2, t_c + HYSTERESIS_PLAY_K / 2
            self._play_c = min(max(self._play_c, low), high)
        self._hysteresis = 2.0 * (self._play_c - new[-1]) / HYSTERESIS_PLAY_K

    def _age(self, new: list[float]) -> None:
        truth = self.truth
        hot_s = sum(t_c > truth.drifts_above_c for t_c in new)
        self._aged_ppm += truth.drift_ppm_per_h * hot_s / 3600.0
        if hot_s and not self._shifted:
            self._shifted = True
            self._aged_ppm += truth.shift_ppm
