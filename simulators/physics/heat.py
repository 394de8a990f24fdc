"""A heat source as four lumped nodes: heater, medium, outer part, control sensor.

The linear part is solved exactly on a fixed grid of 1 s (matrix exponential, inputs held over the
step); coolant, quadratic loss and unsteady stirring heat enter as held watts. Nothing depends on who
asks when: the grid is stepped up to the second asked for, never finer.
"""

from __future__ import annotations

import math
import random

from simulators.physics.controller import STEP_S, Controller
from simulators.physics.matrix import Matrix, held_input_step
from simulators.physics.models import Constants

DAY_S = 86400.0
WARMEST_AT_S = 79200.0  # 15:00 next day for a night begun at 17:00
LAYERING_LAG_S = 300.0
DETACHED_LAG_S = 60.0
BEFORE_S = 7200
"""So long the controller was on before the first second."""


class HeatSource:
    """Medium temperature, controller and switches of one apparatus; `histories` feed the probes.

    Faults act by the plain attributes: `power_factor`, `stuck_relay`, `stuck_cooling`,
    `cooling_failed`, `powered`, `stirrer_on`, `sensor_detached`, `level_low`.
    """

    def __init__(
        self,
        constants: Constants,
        chance: random.Random,
        ambient_c: float = 22.0,
        ambient_wave_k: float = 1.0,
        start_c: float | None = None,
    ) -> None:
        start = ambient_c if start_c is None else start_c
        self.constants = constants
        self.controller = Controller(constants, start)
        self.seconds, self._started_s = 0, -BEFORE_S
        self.medium_c = [start]
        self.air_c = [ambient_c]
        self.layering = [0.0]
        self.power_factor, self.stuck_relay, self.stuck_cooling = 1.0, False, False
        self.cooling_failed = False
        self.powered, self.level_low, self.over_temperature = True, False, False
        self.heater_energy_j, self.last_heater_on_s = 0.0, -math.inf
        self._stirrer_on, self._sensor_detached = True, False
        self._ambient_c, self._wave_k = ambient_c, ambient_wave_k
        self._chance = chance
        self._heater_c = self._outer_c = self._sensor_c = start
        self._rows = self._matrix()

    @property
    def displayed_c(self) -> float:
        """Temperature in °C on the controller's display."""
        return self.controller.displayed(self._sensor_c)

    @property
    def sensor_c(self) -> float:
        """True temperature in °C of the control sensor."""
        return self._sensor_c

    @property
    def output_percent(self) -> float:
        """Heater output asked for by the controller; cooling shows as 0 %."""
        return 100.0 * max(0.0, self.controller.demand)

    @property
    def stirrer_on(self) -> bool:
        """False after the stirrer stopped: layers form and the heater couples badly."""
        return self._stirrer_on

    @stirrer_on.setter
    def stirrer_on(self, on: bool) -> None:
        self._stirrer_on = on
        self._rows = self._matrix()

    @property
    def sensor_detached(self) -> bool:
        """True when the control sensor hangs in the air."""
        return self._sensor_detached

    @sensor_detached.setter
    def sensor_detached(self, detached: bool) -> None:
        self._sensor_detached = detached
        self._rows = self._matrix()

    @property
    def on_s(self) -> int:
        """Seconds since its controller was started."""
        return self.seconds - self._started_s

    def restart(self) -> None:
        """Its controller starts anew, with what it keeps over a loss of power."""
        self._started_s = self.seconds
        self.controller.restart(self._sensor_c)

    def chill(self, kelvin: float) -> None:
        """Something cold is put in: the medium drops at once."""
        self.medium_c[-1] -= kelvin

    def advance(self, until_s: float) -> None:
        """Step the grid up to the last whole second not after `until_s`."""
        while self.seconds + STEP_S <= until_s:
            self._step()

    def _step(self) -> None:
        medium, air = self.medium_c[-1], self.air_c[-1]
        heater, outer, sensor = self._heater_c, self._outer_c, self._sensor_c
        watts = self._heater_watts(sensor, medium)
        heat = self._other_watts(medium, air)
        (h1, h2, h3, h4, h5, h6, h7), (m1, m2, m3, m4, m5, m6, m7), (o1, o2, o3, o4, o5, o6, o7), (
            s1, s2, s3, s4, s5, s6, s7,
        ) = self._rows  # fmt: skip
        self._heater_c = (
            h1 * heater + h2 * medium + h3 * outer + h4 * sensor + h5 * watts + h6 * air + h7 * heat
        )
        self.medium_c.append(
            m1 * heater + m2 * medium + m3 * outer + m4 * sensor + m5 * watts + m6 * air + m7 * heat
        )
        self._outer_c = (
            o1 * heater + o2 * medium + o3 * outer + o4 * sensor + o5 * watts + o6 * air + o7 * heat
        )
        self._sensor_c = (
            s1 * heater + s2 * medium + s3 * outer + s4 * sensor + s5 * watts + s6 * air + s7 * heat
        )
        self._count(watts)

    def _count(self, watts: float) -> None:
        self.seconds += 1
        if watts > 0.0:
            self.heater_energy_j += watts * STEP_S
            self.last_heater_on_s = float(self.seconds)
        self.air_c.append(self._air())
        layers = self.layering[-1]
        if layers or not self._stirrer_on:
            layers += (float(not self._stirrer_on) - layers) * STEP_S / LAYERING_LAG_S
        self.layering.append(layers)

    def _air(self) -> float:
        return self._ambient_c + self._wave_k * math.cos(math.tau * (self.seconds - WARMEST_AT_S) / DAY_S)

    def _heater_watts(self, sensor: float, medium: float) -> float:
        if not self.powered:
            self.controller.demand = 0.0
            return 0.0
        controller = self.controller
        if self.seconds >= controller.fall_back_due_s:
            controller.fall_back_if_due(self.seconds, sensor)
        demand = controller.sample(sensor)
        if self.stuck_relay:
            demand = 1.0
        if medium > self.constants.cut_out_c:
            self.over_temperature = True
        if self.over_temperature or demand <= 0.0:
            return 0.0
        return demand * self.constants.power_w * self.power_factor

    def _other_watts(self, medium: float, air: float) -> float:
        constants = self.constants
        excess = medium - air
        watts = -constants.extra_loss_w_per_k2 * excess * abs(excess)
        watts += self._chance.gauss(constants.stirring_w * self._stirrer_on, constants.unsteady_w)
        opening = 1.0 if self.stuck_cooling else -constants.cooling_gain_ratio * self.controller.demand
        if opening > 0.0 and self.powered and not self.cooling_failed:
            watts -= min(opening, 1.0) * self._coolant_watts(medium, air)
        return watts

    def _coolant_watts(self, medium: float, air: float) -> float:
        constants = self.constants
        coolant = air if constants.coolant_c is None else constants.coolant_c
        return max(0.0, min(constants.coolant_w_per_k * (medium - coolant), constants.coolant_limit_w))

    def _matrix(self) -> Matrix:
        """Rows heater, medium, outer, sensor; columns those four, then heater W, air °C, medium W."""
        c = self.constants
        into = c.heater_medium_w_per_k if self._stirrer_on else c.still_heater_medium_w_per_k
        out, air = c.medium_outer_w_per_k, c.medium_air_w_per_k
        ch, cm, co = c.heater_j_per_k, c.medium_j_per_k, c.outer_j_per_k
        lag_s = DETACHED_LAG_S if self._sensor_detached else c.sensor_lag_s
        seen, loose = float(not self._sensor_detached) / lag_s, float(self._sensor_detached) / lag_s
        system = [
            [-into / ch, into / ch, 0.0, 0.0],
            [into / cm, -(into + out + air) / cm, out / cm, 0.0],
            [0.0, out / co, -(out + c.outer_air_w_per_k) / co, 0.0],
            [0.0, seen, 0.0, -1.0 / lag_s],
        ]
        inputs = [
            [1.0 / ch, 0.0, 0.0],
            [0.0, air / cm, 1.0 / cm],
            [0.0, c.outer_air_w_per_k / co, 0.0],
            [0.0, loose, 0.0],
        ]
        return held_input_step(system, inputs, STEP_S)
