"""What a person found before loading, and what the insulation means for the result, in millikelvin.

A leak beside the element lowers its resistance by R²/R_leak, whatever the current. It also falls with
temperature, so what is measured in the cold is the least that it costs.
"""

from __future__ import annotations

from collections.abc import Iterator

from daemon.precheck.findings import Finding, degrees
from plans.plan import Inspection
from plans.run_plan import RunPlan

ENOUGH_MOHM = 100.0  # from memory: IEC 60751, at 100 V DC and room temperature
_A, _B = 3.9083e-3, -5.775e-7  # IEC 60751


def leak_mk(nominal_ohm: float, insulation_mohm: float, temperature_c: float) -> float:
    """How much too low a thermometer reads in mK with this insulation, at a temperature in °C."""
    ohm = nominal_ohm * (1.0 + temperature_c * (_A + _B * temperature_c))
    ohm_per_k = nominal_ohm * (_A + 2.0 * _B * temperature_c)
    return 1e3 * ohm**2 / (insulation_mohm * 1e6) / ohm_per_k


def inspections(run: RunPlan) -> Iterator[Finding]:
    """A caution for poor insulation, the meaning of a good one, and who was not tested."""
    for one in run.plan.inspections:
        yield from _finding(run, one)
    tested = {one.serial for one in run.plan.inspections if one.insulation_mohm is not None}
    missing = [thermometer.serial for thermometer in run.items if thermometer.serial not in tested]
    if tested and missing:
        sentence = f"No insulation resistance is written down for {', '.join(missing)}."
        yield Finding("insulation", "caution", sentence, "Measure it sheath to element, never across it.")


def _finding(run: RunPlan, one: Inspection) -> Iterator[Finding]:
    if one.insulation_mohm is None:
        return
    top_c, nominal_ohm = max(run.visited_c), run.thermometer(one.serial).nominal_r0_ohm
    cold_mk, hot_mk = (leak_mk(nominal_ohm, one.insulation_mohm, t_c) for t_c in (0.0, top_c))
    good = one.insulation_mohm >= ENOUGH_MOHM
    yield Finding(
        "insulation",
        "info" if good else "caution",
        f"{one.serial}: {one.insulation_mohm:g} MΩ at {one.volts:g} V ({one.by}, {one.on.isoformat()}); by "
        f"itself this costs {cold_mk:.2g} mK at 0 °C and {hot_mk:.2g} mK at {degrees(top_c)}.",
        "" if good else "It is moist or dirty: dry it at 100 °C to 120 °C for 4 h, and measure again.",
        value=f"{one.insulation_mohm:g} MΩ",
        limit=f"{ENOUGH_MOHM:g} MΩ",
        set_by="IEC 60751 (from memory)",
    )
