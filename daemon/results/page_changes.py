"""How much a thermometer changes: with direction, with time, by annealing, by its own current; in words."""

from __future__ import annotations

from collections.abc import Iterator

from daemon.results.calibrate import ItemResult
from daemon.results.numbers import fixed, signed, uncertainty
from daemon.results.self_heating import SelfHeating


def changes(item: ItemResult) -> dict[str, str]:
    """What was found, by name; only hysteresis is named where it was not measured. U with k = 2."""
    hysteresis = "; ".join(
        f"half the difference {found(one.half_difference_mk, one.standard_mk)} at {one.temperature_c:g} °C"
        for one in item.hysteresis
    )
    told = {"hysteresis": hysteresis or "not measured: no temperature was reached from both sides"}
    if item.return_mk is not None:
        told["change at the return point"] = (
            f"{found(item.return_mk, item.shift_standard_mk)}, after minus before"
        )
    if item.repeats:
        told["measured again"] = "; ".join(repeats(item))
    if item.annealing_mk is not None:
        told["changed by annealing"] = f"{found(item.annealing_mk, item.shift_standard_mk)}, left minus found"
    if item.self_heating:
        told["self-heating"] = "; ".join(self_heating(one) for one in item.self_heating)
    if item.immersion:
        told["immersion profile"] = "; ".join(one.words for one in item.immersion)
    return told


def repeats(item: ItemResult) -> Iterator[str]:
    """Each point that was measured again after other temperatures: later minus earlier."""
    for one in item.repeats:
        yield f"{found(one.difference_mk, one.standard_mk)} at {fixed(one.temperature_c, 0, '°C')}"


def self_heating(one: SelfHeating) -> str:
    """Self-heating and the resistance without current, each with its U."""
    return (
        f"{found(one.heating_mk, one.standard_mk)} by {one.current_ma:g} mA at "
        f"{fixed(one.temperature_c, 0, '°C')}, second current {one.second_current_ma:g} mA; "
        f"{zero_power(one)} without current"
    )


def zero_power(one: SelfHeating) -> str:
    """R(0 mA) at the stated temperature of the reference."""
    u_ohm = 2.0 * one.zero_power_standard_ohm
    return f"{one.zero_power_ohm:.5f} Ω (U {u_ohm:.2g} Ω) at {fixed(one.temperature_c, 4, '°C')}"


def found(value_mk: float, standard_mk: float) -> str:
    """A value with its expanded uncertainty, k = 2."""
    return f"{signed(value_mk, 2, 'mK')} (U {uncertainty(2.0 * standard_mk)})"
