"""The constants of the three heat sources, and how a seed scatters them.

Masses, conductances and control settings are common practice, no source, unless said; rates and
settling times follow from them.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Constants:
    """One heat source: heat capacities in J/K, conductances in W/K, powers in W, times in s, kelvins."""

    start_set_point_c: float
    cut_out_c: float
    heater_j_per_k: float
    medium_j_per_k: float
    outer_j_per_k: float
    heater_medium_w_per_k: float
    medium_outer_w_per_k: float
    medium_air_w_per_k: float
    outer_air_w_per_k: float
    still_heater_medium_w_per_k: float
    extra_loss_w_per_k2: float
    power_w: float
    stirring_w: float
    unsteady_w: float
    sensor_lag_s: float
    coolant_c: float | None
    coolant_w_per_k: float
    coolant_limit_w: float
    gain_per_k: float
    cooling_gain_ratio: float
    integral_s: float
    unwinding_s: float
    ramp_k_per_min: float
    display_offset_k: float
    display_slope: float
    layering: float
    starts_heating: bool


# usable from -25 °C to 210 °C
OIL_BATH = Constants(
    start_set_point_c=25.0,
    cut_out_c=230.0,
    heater_j_per_k=1.5e3,
    medium_j_per_k=15e3,  # 10 L at 0.95 kg/L and 1.55 kJ/(kg K)
    outer_j_per_k=6e3,
    heater_medium_w_per_k=60.0,
    medium_outer_w_per_k=12.0,
    medium_air_w_per_k=1.6,
    outer_air_w_per_k=1.3,
    still_heater_medium_w_per_k=20.0,
    extra_loss_w_per_k2=0.004,
    power_w=1500.0,
    stirring_w=12.0,
    unsteady_w=2.0,
    sensor_lag_s=8.0,
    coolant_c=-35.0,
    coolant_w_per_k=20.0,
    coolant_limit_w=650.0,
    gain_per_k=0.25,
    cooling_gain_ratio=1.5,
    integral_s=240.0,
    unwinding_s=60.0,
    ramp_k_per_min=5.0,
    display_offset_k=0.03,
    display_slope=2e-4,
    layering=0.04,
    starts_heating=True,
)

# usable from 30 °C to 650 °C: its fan cannot cool below the room
DRY_BLOCK = Constants(
    start_set_point_c=25.0,
    cut_out_c=680.0,
    heater_j_per_k=150.0,
    medium_j_per_k=1.1e3,
    outer_j_per_k=400.0,
    heater_medium_w_per_k=15.0,
    medium_outer_w_per_k=3.0,
    medium_air_w_per_k=0.15,
    outer_air_w_per_k=0.35,
    still_heater_medium_w_per_k=15.0,
    extra_loss_w_per_k2=0.00025,
    power_w=900.0,
    stirring_w=0.0,
    unsteady_w=0.3,
    sensor_lag_s=4.0,
    coolant_c=None,
    coolant_w_per_k=1.2,
    coolant_limit_w=700.0,
    gain_per_k=0.12,
    cooling_gain_ratio=3.0,
    integral_s=200.0,
    unwinding_s=20.0,
    ramp_k_per_min=12.0,
    display_offset_k=0.1,
    display_slope=1e-3,
    layering=0.0,
    starts_heating=False,
)

# usable from 100 °C to 700 °C
FURNACE = Constants(
    start_set_point_c=25.0,
    cut_out_c=730.0,
    heater_j_per_k=500.0,
    medium_j_per_k=4.5e3,  # equalising block
    outer_j_per_k=6e3,  # brick
    heater_medium_w_per_k=15.0,
    medium_outer_w_per_k=1.5,
    medium_air_w_per_k=0.3,
    outer_air_w_per_k=0.9,
    still_heater_medium_w_per_k=15.0,
    extra_loss_w_per_k2=0.0003,
    power_w=1800.0,
    stirring_w=0.0,
    unsteady_w=1.0,
    sensor_lag_s=8.0,
    coolant_c=None,
    coolant_w_per_k=2.0,
    coolant_limit_w=900.0,
    gain_per_k=0.08,
    cooling_gain_ratio=3.0,
    integral_s=900.0,
    unwinding_s=60.0,
    ramp_k_per_min=6.0,
    display_offset_k=0.3,
    display_slope=1.5e-3,
    layering=0.0,
    starts_heating=False,
)

# usable from -45 °C to 260 °C: the same tank with a colder coolant and a stronger heater
WIDE_BATH = replace(
    OIL_BATH, coolant_c=-75.0, coolant_w_per_k=25.0, coolant_limit_w=900.0, power_w=2000.0, cut_out_c=285.0
)

# usable from 150 °C to 290 °C: molten when it is started, and cooled by the room alone
SALT_BATH = replace(
    OIL_BATH,
    start_set_point_c=160.0,
    cut_out_c=330.0,
    medium_j_per_k=27e3,  # 10 L at 1.85 kg/L and 1.45 kJ/(kg K), from memory
    power_w=3000.0,
    coolant_c=None,
    coolant_w_per_k=0.0,
)

MODELS = {
    "oil_bath": OIL_BATH,
    "wide_bath": WIDE_BATH,
    "salt_bath": SALT_BATH,
    "dry_block": DRY_BLOCK,
    "furnace": FURNACE,
}

SCATTERED = (
    "heater_j_per_k",
    "medium_j_per_k",
    "outer_j_per_k",
    "heater_medium_w_per_k",
    "medium_outer_w_per_k",
    "medium_air_w_per_k",
    "outer_air_w_per_k",
)
SCATTER = 0.03


def scattered(constants: Constants, chance: random.Random) -> Constants:
    """The constants of one particular apparatus: masses and conductances a few per cent either way."""
    drawn = {name: getattr(constants, name) * chance.uniform(1 - SCATTER, 1 + SCATTER) for name in SCATTERED}
    display = constants.display_offset_k * chance.uniform(0.5, 1.5) * chance.choice((-1, 1))
    return replace(constants, **drawn, display_offset_k=display)
