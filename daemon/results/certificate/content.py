"""A certificate's content as plain data for the template: texts and printed numbers, no layout."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from daemon.fitting.characteristic import Characteristic
from daemon.fitting.conformity import RULE_RISK
from daemon.fitting.printing import check_pairs, printed_coefficients
from daemon.results.certificate.facts import Facts
from daemon.results.certificate.method import conditions, method_sentences, traceability
from daemon.results.certificate.rows import rounded
from daemon.results.markup import plain
from daemon.results.numbers import (
    UNKNOWN,
    contribution,
    day_and_clock,
    decimals_of,
    fixed,
    powers,
    signed,
    uncertainty,
)
from daemon.results.page_changes import repeats, zero_power
from daemon.results.page_items import KINDS
from daemon.results.self_heating import SelfHeating
from plans.probe import Thermometer

APPROACHES = {"from_below": "below", "from_above": "above", "start": "first", "same": "same"}
_WIRES = {2: "two-wire", 3: "three-wire", 4: "four-wire"}


def content(facts: Facts) -> dict[str, Any]:
    """Everything the template shows, JSON-ready, every minus a true one."""
    document = {
        "number": facts.number,
        "mark": facts.mark,
        "date": _date_parts(facts),
        "laboratory": _laboratory(facts),
        "facts": _head(facts),
        "authorised": _authorised(facts),
        "replaces": _replaces(facts),
        "traceability": traceability(facts, *facts.evaluated.night.run.references),
        "method": method_sentences(facts),
        "conditions": conditions(facts),
        "zero": _zero(facts),
        "points": [_point(row) for row in map(asdict, facts.points)],
        "characteristic": _characteristic(facts),
        "table": [{k: v for k, v in asdict(line).items()} for line in facts.table],
        "budget": _budget(facts),
        "conformity": _conformity(facts),
        "remarks": list(facts.remarks),
        "record": _record(facts),
    }
    return {key: typeset(value) for key, value in document.items()}


def typeset(value: Any) -> Any:
    """Every text inside with true minus signs and numbers kept with their units."""
    if isinstance(value, dict):
        return {key: typeset(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [typeset(inner) for inner in value]
    return plain(value) if isinstance(value, str) else value


def _date_parts(facts: Facts) -> list[int]:
    day = facts.issued or facts.ended
    return [day.year, day.month, day.day]


def _laboratory(facts: Facts) -> dict[str, Any]:
    laboratory = facts.papers.laboratory
    logo = "" if facts.papers.logo is None else f"logo{facts.papers.logo[0]}"
    place = _known(*laboratory.address, laboratory.city)
    return {"name": laboratory.name, "place": place, "accreditation": laboratory.accreditation, "logo": logo}


def _head(facts: Facts) -> list[tuple[str, str]]:
    ordered, customer, thermometer = facts.ordered, facts.papers.order.customer, facts.thermometer
    element, sheath = (one.replace("_", "-") for one in (thermometer.element, thermometer.sheath))
    rows = [
        ("Object", ordered.description),
        ("Identification", f"serial number {facts.item.serial}"),
        (
            "Construction",
            f"nominal R₀ {thermometer.nominal_r0_ohm:g} Ω, {_WIRES[thermometer.wires]}, {element} element, "
            f"{sheath} sheath {_size(thermometer)}",
        ),
        ("Customer", ", ".join(_known(customer.name, *customer.address, customer.city))),
        ("Received", ordered.received.isoformat() if ordered.received else "not stated"),
        ("Condition on receipt", ordered.condition or "not stated"),
        ("Thermal history", ordered.history or "not stated"),
        ("Calibrated", _span(facts)),
        ("Place", ", ".join(_known(facts.evaluated.night.run.bench.name, facts.papers.laboratory.city))),
        ("Issued", facts.issued.isoformat() if facts.issued else "not issued"),
    ]
    return rows


def _known(*parts: str) -> list[str]:
    """Those that somebody wrote down."""
    return [part for part in parts if part not in ("", UNKNOWN)]


def _size(thermometer: Thermometer) -> str:
    """Diameter and length, kept on one line."""
    return f"{thermometer.diameter_mm:g} mm × {thermometer.length_below_handle_mm:g} mm".replace(
        " ", "\u00a0"
    )


def _span(facts: Facts) -> str:
    begun, ended = facts.begun.isoformat(), facts.ended.isoformat()
    return begun if begun == ended else f"{begun} to {ended}"


def _authorised(facts: Facts) -> dict[str, str]:
    if facts.authorised is None:
        return {"name": "", "role": "", "when": ""}
    by = facts.authorised.by
    return {"name": by.name, "role": by.role, "when": day_and_clock(facts.authorised.utc_s)}


def _replaces(facts: Facts) -> dict[str, Any]:
    authorised = facts.authorised
    if authorised is None or not authorised.replaces:
        return {"number": "", "reasons": []}
    return {"number": authorised.replaces, "reasons": list(authorised.reasons)}


def _zero(facts: Facts) -> list[tuple[str, str]]:
    item = facts.item
    hysteresis = [
        f"{signed(one.half_difference_mk, 1, 'mK')} at {one.temperature_c:g} °C" for one in item.hysteresis
    ]
    (u_ohm, _), annealed = u_at_zero(facts), item.annealing_mk is not None
    before, after = (
        f"{rounded(r, u_ohm)} Ω" if r is not None else "not measured"
        for r in (item.r0_before_ohm, item.r0_after_ohm)
    )
    return [
        (f"R₀ before the points ({'after annealing' if annealed else 'as found'})", before),
        ("R₀ after the points (as left)", after),
        *([("Change of R₀ by annealing", signed(item.annealing_mk, 1, "mK"))] if annealed else []),
        ("Shift of R₀", signed(item.shift_mk, 1, "mK")),
        *(
            [("Change at the return point", signed(item.return_mk, 1, "mK"))]
            if item.return_mk is not None
            else []
        ),
        ("Hysteresis, half the difference above − below", "; ".join(hysteresis) or "not measured"),
        ("Repeatability from cycle to cycle", uncertainty(item.repeatability_mk)),
        *([("Measured again later, change", "; ".join(repeats(item)))] if item.repeats else []),
        *(("Immersion profile", one.words) for one in item.immersion),
        *(row for one in item.self_heating for row in _self_heating(one)),
    ]


def _self_heating(one: SelfHeating) -> list[tuple[str, str]]:
    u_mk = uncertainty(2.0 * one.standard_mk)
    return [
        (
            f"Self-heating at {fixed(one.temperature_c, 0, '°C')}",
            f"{signed(one.heating_mk, 1, 'mK')} by {one.current_ma:g} mA (U {u_mk}, k = 2)",
        ),
        ("Resistance at zero power", zero_power(one)),
    ]


def u_at_zero(facts: Facts) -> tuple[float, float]:
    """U of a resistance at 0 °C in ohm, never below the laboratory's smallest, and its coverage factor."""
    found = facts.characteristic
    nearest_c = min(max(0.0, found.range_c[0]), found.range_c[1])
    there = found.uncertainty_at([nearest_c])
    smallest_k = 1e-3 * (facts.papers.laboratory.smallest_uncertainty_mk or 0.0)
    u_k = max(float(there.expanded_k[0]), smallest_k)
    return u_k * float(found.sensitivity_ohm_per_k(nearest_c)), float(there.coverage_factor[0])


def _point(row: dict[str, Any]) -> dict[str, str]:
    shown = {key: str(value) for key, value in row.items() if value is not None}
    residual = signed(row["residual_mk"], 1)
    return shown | {
        "residual_mk": residual,
        "approach": APPROACHES[row["approach"]],
        "used": "no" if row["excluded_because"] else "yes",
    }


def _characteristic(facts: Facts) -> dict[str, Any]:
    found = facts.characteristic
    low, high = found.range_c
    return {
        "kind": found.equation.kind,
        "name": KINDS[found.equation.kind],
        "equation": found.equation.description,
        "form": _form(found),
        "reason": found.reason,
        "range": f"{fixed(low, 3)} °C to {fixed(high, 3)} °C",
        "coefficients": [
            (_symbol(c.name), powers(c.printed), powers(f"{c.standard:.1e}"), c.unit or "1")
            for c in printed_coefficients(found)
        ],
        "pairs": [
            (f"{pair.resistance_ohm:.6g} Ω", fixed(pair.temperature_c, 4, "°C"))
            for pair in check_pairs(found)
        ],
        "fit": _fit(found),
        "cautions": list(found.cautions),
    }


def _symbol(name: str) -> list[str]:
    stem, _, index = name.partition("_")
    if not index and len(name) == 2:
        stem, index = name[0], name[1]
    return [stem, "TPW" if index == "tpw" else index]


def _form(found: Characteristic) -> dict[str, str]:
    """What the template needs to set the equation as mathematics."""
    described = {key: value for key, value in found.equation.to_dict().items() if value is not None}
    return {key: powers(f"{v:g}") if isinstance(v, float) else str(v) for key, v in described.items()}


def _fit(found: Characteristic) -> str:
    if found.fit is None or found.fit.findings.chi_squared_bounds is None:
        return "exactly as many points as coefficients: no residuals, no test"
    low, high = found.fit.findings.chi_squared_bounds
    return (
        f"chi-squared {found.chi_squared:.2f} with {found.degrees_of_freedom} degrees of freedom "
        f"(95 % of fits lie between {low:.2f} and {high:.2f})"
    )


def _budget(facts: Facts) -> dict[str, Any]:
    budgets = [budget for budget in facts.item.budgets]
    largest = max(budgets, key=lambda budget: budget.expanded_mk)
    lines, combined_mk = sorted(largest.lines, key=lambda line: -line.standard_mk), largest.combined_mk
    return {
        "where": fixed(largest.temperature_c, 1, "°C"),
        "lines": [
            (
                line.name,
                line.distribution,
                line.correlation,
                contribution(line.standard_mk, combined_mk),
            )
            for line in lines
        ],
        "combined": uncertainty(combined_mk),
        "factor": f"{largest.coverage_factor:.2f}",
        "expanded": uncertainty(largest.expanded_mk),
        "smallest": uncertainty(facts.papers.laboratory.smallest_uncertainty_mk),
        "has_smallest": facts.papers.laboratory.smallest_uncertainty_mk is not None,
    }


def _conformity(facts: Facts) -> dict[str, Any] | None:
    judged = facts.conformity
    if judged is None:
        return None
    low, high = judged.tested_range_c
    worst_mk = 1e3 * judged.worst_expanded_k
    return {
        "class": judged.class_name,
        "verdict": judged.verdict.upper(),
        "rule": judged.rule.value,
        "risk": RULE_RISK[judged.rule],
        "agreed": facts.ordered.rule_agreed.isoformat() if facts.ordered.rule_agreed else "",
        "range": f"{fixed(low, 3)} °C to {fixed(high, 3)} °C",
        "worst": f"{fixed(judged.worst_c, 1, '°C')}: error "
        f"{signed(1e3 * judged.worst_error_k, decimals_of(worst_mk), 'mK')}, U {uncertainty(worst_mk)}",
        "nominal": f"{facts.thermometer.nominal_r0_ohm:g} Ω",
    }


def _record(facts: Facts) -> dict[str, Any]:
    opening = facts.evaluated.story.opening.body
    night = facts.evaluated.night
    accepted = night.review.accepted
    return {
        "head": facts.evaluated.verification.closed_head,
        "program": f"ohmvigil, {opening['program']} (measurement) and {facts.program} (evaluation)",
        "accepted": f"{accepted.by.name}, {day_and_clock(accepted.by.utc_s)}" if accepted else "not yet",
        "evidence": [f"{one.what}: {one.file}, SHA-256 {one.sha256}" for one in night.review.evidence],
    }
