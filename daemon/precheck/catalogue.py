"""Every check before heat, in the order they are made: what it is for, its figures, what it does and why."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from daemon.lease import SILENCE_S
from daemon.precheck import cold, cut_out, head, immersion, quality, standing
from daemon.precheck.abilities import abilities
from daemon.precheck.bridge import bridge
from daemon.precheck.calibrations import SOON_DAYS, calibrations
from daemon.precheck.computer_lost import computer_lost
from daemon.precheck.findings import Finding
from daemon.precheck.fluid import fluid
from daemon.precheck.guardian import guardian
from daemon.precheck.heat import METAL_VAPOUR_C, STAINLESS_CAUTION_C, metals, too_hot
from daemon.precheck.inspections import ENOUGH_MOHM, inspections
from daemon.precheck.rates import SILICA_NOT_COLD_INTO_C, rates, shock
from daemon.precheck.tightened import tightened
from daemon.preparation import LIMIT_MARGIN_K
from daemon.timetable import forecast
from daemon.touching import HOT_C
from plans.fluid import FIRE_MARGIN_K
from plans.rating import BRITTLE_RATE_K_PER_MIN, METAL_RATE_K_PER_MIN
from plans.run_plan import RunPlan

Judge = Callable[[RunPlan, date], Iterator[Finding]]
Figures = Mapping[str, tuple[float, str]]

_REFUSES, _WARNS = "refuses to heat", "cautions"
_PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Check:
    """One check; `figures` are name → (value, unit), taken from the code that judges by them."""

    name: str
    hazard: str
    reads: str
    reaction: str
    why: str
    judge: Judge
    figures: Figures = field(default_factory=dict)
    source: str = _PRACTICE

    def described(self) -> dict[str, Any]:
        """The check as plain data for lists and documents."""
        return {
            "name": self.name,
            "hazard": self.hazard,
            "reads": self.reads,
            "reaction": self.reaction,
            "why": self.why,
            "source": self.source,
            "figures": {key: {"value": value, "unit": unit} for key, (value, unit) in self.figures.items()},
        }


def _undated(check: Callable[[RunPlan], Iterator[Finding]]) -> Judge:
    return lambda run, today: check(run)


CHECKS: tuple[Check, ...] = (
    Check(
        "too_hot",
        "a point hotter than a probe, the reference, the source or the fluid may see",
        "points against the register's and the bench's ratings",
        _REFUSES,
        "the approach climbs beyond its set-point for as long as the source coasts, and a guard needs room",
        _undated(too_hot),
        {"margin_k": (LIMIT_MARGIN_K, "K below the lowest rating, with the coasting counted in")},
    ),
    Check(
        "too_cold",
        "a point colder than a probe, its seal, the source or the fluid may see",
        "points against the register's and the bench's ratings",
        _REFUSES,
        "a freezing fluid stops the stirrer, and the heater then runs dry",
        _undated(cold.too_cold),
    ),
    Check(
        "rates",
        "a ramp that a probe or the source does not bear",
        "ramps against each probe's sheath",
        _REFUSES,
        "ceramic and silica crack, platinum strains",
        _undated(rates),
        {
            "brittle": (BRITTLE_RATE_K_PER_MIN, "K/min for silica and alumina"),
            "metal": (METAL_RATE_K_PER_MIN, "K/min for metal sheaths"),
        },
        "from memory",
    ),
    Check(
        "shock",
        "a brittle probe put cold into a hot furnace",
        "the first step against each sheath",
        _REFUSES,
        "shock on transfer is the usual breakage",
        _undated(shock),
        {"not_cold_into": (SILICA_NOT_COLD_INTO_C, "°C")},
    ),
    Check(
        "heads",
        "head, handle or cable hotter or colder than it bears",
        "an estimate from the stem that stands out",
        _REFUSES,
        "cements and connectors usually fail first",
        _undated(head.heads),
        {
            "margin_k": (head.MARGIN_K, "K below the head's rating"),
            "shield_above": (head.SHIELD_ABOVE_C, "°C: a heat shield is asked for"),
            "sensor_above": (head.SENSOR_ABOVE_C, "°C: a head sensor is asked for"),
        },
    ),
    Check(
        "moisture",
        "water freezing in wells, or in probes that are not sealed",
        "points below 0 °C against the register",
        _REFUSES,
        "ice breaks sheaths, and water in a probe reads as a false resistance",
        _undated(cold.moisture),
    ),
    Check(
        "fluid",
        "a fluid near its flash, fire or boiling point, salt, alcohol, a tank that overflows",
        "points and cut-out against the fluid's own data",
        _REFUSES,
        "vapour burns, water under hot oil bursts, freezing salt traps sheaths",
        _undated(fluid),
        {"fire_margin": (FIRE_MARGIN_K, "K from the cut-out's setting to the fire point")},
        source="the fluid's safety data sheet; the margins " + _PRACTICE,
    ),
    Check(
        "cut_out",
        "no independent over-temperature cut-out, set wrongly, or not proved lately",
        "the bench's statement of its setting and of the day it was proved",
        _REFUSES,
        "no program stops a welded relay",
        cut_out.cut_out,
        {
            "needed_above": (cut_out.NEEDED_ABOVE_C, "°C"),
            "clear_of_top": (cut_out.CLEAR_OF_TOP_K, "K above the highest point at least"),
            "above_limit": (cut_out.ABOVE_LIMIT_K, "K above the lowest rating at most"),
            "oldest_proof": (float(cut_out.OLDEST_DAYS), "days"),
        },
    ),
    Check(
        "calibrations",
        "a certificate out of date before the run ends, or that does not reach over every point",
        "due dates and ranges of reference, bridge and reference resistor",
        _REFUSES,
        "results would have no traceability",
        lambda run, today: calibrations(run, today, forecast(run).total_s),
        {"soon": (float(SOON_DAYS), "days: told when it is due within them")},
        "ISO/IEC 17025, 6.4",
    ),
    Check(
        "length",
        "a plan without an end",
        "the forecast",
        _REFUSES,
        "every path must end cold",
        lambda run, today: quality.length(forecast(run).total_s),
        {"longest": (quality.LONGEST_S / 3600.0, "h")},
    ),
    Check(
        "immersion",
        "a probe too shallow or too loose",
        "lengths and diameters in the register",
        _WARNS,
        "its stem carries heat away and it reads wrong",
        _undated(immersion.immersion),
        {"clearance": (immersion.WIDEST_CLEARANCE_MM, "mm in a bore, up to 660 °C")},
        "DKD-R 5-4 (read second-hand)",
    ),
    Check(
        "inspections",
        "insulation that leaks",
        "what a person measured before loading",
        _WARNS,
        "a leak reads as a lower temperature",
        _undated(inspections),
        {"enough": (ENOUGH_MOHM, "MΩ at room temperature")},
        "from memory: IEC 60751",
    ),
    Check(
        "metals",
        "a sheath used hotter than its material is trusted with",
        "points against each sheath's material",
        _WARNS,
        "metal vapour spoils the platinum",
        _undated(metals),
        {"stainless": (STAINLESS_CAUTION_C, "°C"), "vapour": (METAL_VAPOUR_C, "°C")},
    ),
    Check(
        "cryogen",
        "cold burns and suffocation",
        "the coldest point",
        _WARNS,
        "nitrogen displaces air unnoticed",
        _undated(cold.cryogen),
        {"below": (cold.CRYOGEN_BELOW_C, "°C")},
    ),
    Check(
        "quality",
        "too few points, no check standard, no return, a criterion that the source cannot meet",
        "points, items and criteria",
        _WARNS,
        "the night would be worth less than it costs",
        _undated(quality.quality),
    ),
    Check(
        "guardian",
        "nobody parks the source when this program dies",
        "the ways to the heat source",
        "refuses unattended heat",
        "a program cannot guard itself",
        _undated(guardian),
    ),
    Check(
        "computer lost",
        "the whole computer is lost, the guardian with it",
        "the controller's reaction to silence (set before heat, then renewed), its range against parking_c",
        "refuses to heat where it cannot fall back; cautions where it has none",
        "then only the controller itself can bring the source down",
        _undated(computer_lost),
        {"silence": (SILENCE_S, "s")},
    ),
    Check(
        "abilities",
        "a controller that cannot ramp, has no heater switch, or does not tell its state",
        "what the source's profile offers, and what stands beside it",
        _WARNS,
        "what cannot be commanded or seen must be made up for, or known",
        _undated(abilities),
    ),
    Check(
        "bridge",
        "a current, range, channel or scanner that the bridge does not have, ratios without their resistor",
        "what the profiles of bridge and scanner offer, against bench file and plan",
        _REFUSES,
        "found out at the first reading, the night would be lost",
        _undated(bridge),
    ),
    Check(
        "guards",
        "guards that act otherwise than by default",
        "the plan's [guards] tables",
        _REFUSES,
        "a plan may tighten a guard, never loosen it; whoever leaves knows by which figures it acts",
        _undated(tightened),
    ),
    Check(
        "standing",
        "what this program does not protect from: a stuck relay, a return of power, an unseen restart, burns",
        "contactor, power return and profile of the source",
        _WARNS,
        "who leaves must know it",
        _undated(standing.standing),
        {"burns_above": (HOT_C, "°C")},
    ),
)
