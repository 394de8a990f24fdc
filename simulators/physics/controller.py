"""The source's own controller: ramped set-point, PI with anti-windup, split range for heating and cooling."""

from __future__ import annotations

import math

from simulators.physics.models import Constants

STEP_S = 1.0


class Controller:
    """Sampled each second; `demand` runs from -1 (full cooling) to 1 (full heating).

    `set_point_c` is what was asked for; the working set-point moves to it at `ramp_k_per_min`.
    The display (and so the control) is off by an offset in K and a slope in kelvin per kelvin.
    Faults act by the plain attributes `gain_factor` and `display_drift_k_per_min`.
    """

    def __init__(self, constants: Constants, start_c: float) -> None:
        self.set_point_c = constants.start_set_point_c
        self.ramp_k_per_min = constants.ramp_k_per_min
        self.heater_on = constants.starts_heating
        self.cooling_on = True
        self.gain_factor = 1.0
        self.display_drift_k_per_min = 0.0
        self._drifted_k = 0.0
        self.fall_back_c = constants.start_set_point_c
        self.fall_back_due_s = math.inf
        self.demand = 0.0
        self._constants = constants
        self._working_c = self.displayed(start_c)
        self._integral = 0.0

    def displayed(self, sensor_c: float) -> float:
        """What the display shows, in °C, when the control sensor is at `sensor_c`."""
        constants = self._constants
        error_k = constants.display_offset_k + constants.display_slope * sensor_c
        return sensor_c + error_k + self._drifted_k

    def write_set_point(self, temperature_c: float, sensor_c: float) -> None:
        """Take a set-point; a changed one is approached from the temperature shown now."""
        if temperature_c != self.set_point_c:
            self.set_point_c = temperature_c
            self._working_c = self.displayed(sensor_c)

    def restart(self, sensor_c: float) -> None:
        """Power is back: last set-point and heater switch stand, the ramp starts from where it is."""
        self.heater_on = True
        self.demand = self._integral = 0.0
        self._working_c = self.displayed(sensor_c)

    def fall_back_if_due(self, now_s: float, sensor_c: float) -> None:
        """Take the fall-back set-point when no write came in time."""
        if now_s >= self.fall_back_due_s:
            self.fall_back_due_s = math.inf
            self.write_set_point(self.fall_back_c, sensor_c)

    def sample(self, sensor_c: float) -> float:
        """One second of control; returns the demand."""
        constants = self._constants
        self._move_working_set_point()
        self._drifted_k += self.display_drift_k_per_min * STEP_S / 60.0
        error_k = self._working_c - self.displayed(sensor_c)
        proportional = constants.gain_per_k * self.gain_factor * error_k
        wanted = proportional + self._integral
        lowest, highest = (-1.0 if self.cooling_on else 0.0), (1.0 if self.heater_on else 0.0)
        demand = lowest if wanted < lowest else highest if wanted > highest else wanted
        self._integral += STEP_S * (
            proportional / constants.integral_s + (demand - wanted) / constants.unwinding_s
        )
        self.demand = demand
        return demand

    def _move_working_set_point(self) -> None:
        gap_k = self.set_point_c - self._working_c
        step_k = self.ramp_k_per_min * STEP_S / 60.0
        if abs(gap_k) <= step_k:
            self._working_c = self.set_point_c
        else:
            self._working_c += step_k if gap_k > 0.0 else -step_k
