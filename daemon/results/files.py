"""The report's files for programs: coefficients as JSON, interpolation tables as CSV."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from daemon.fitting.characteristic import Characteristic
from daemon.fitting.exchange import to_dict
from daemon.fitting.printing import check_pairs, printed_coefficients, rounding_cost_mk
from daemon.fitting.table import as_csv, table_rows
from daemon.journal.read import Verification
from daemon.program import program_version
from daemon.results.calibrate import ItemResult, NightResult
from daemon.results.item_points import ItemPoint, item_points
from daemon.results.judgement import SIMULATED, Judgement
from daemon.results.numbers import iso
from daemon.results.story import Story

_MOST_STEPS = 196
_STEPS = (1.0, 2.0, 5.0)


def record_facts(story: Story, record: Verification) -> dict[str, Any]:
    """What ties a result to its record."""
    opening = story.opening.body
    return {
        "simulated": story.simulated,
        "mark": SIMULATED if story.simulated else "",
        "seed": opening["seed"],
        "faults": opening["faults"],
        "program": program_version(),
        "measured_by_program": opening["program"],
        "python": opening["python"],
        "record_format": opening["format"],
        "begun_utc": iso(story.opening.utc_s),
        "ended_utc": iso(story.utc_s(story.end_s)),
        "last_state": story.phases.state,
        "entries": record.entries,
        "head": record.head,
        "intact": record.intact,
        "closed": record.closed,
        "problem": record.problem,
    }


def coefficients_json(night: NightResult, story: Story, record: Verification, judgement: Judgement) -> str:
    """Everything about every thermometer, full precision; infinite degrees of freedom are null."""
    document = {
        "record": record_facts(story, record),
        "verdict": {
            "headline": judgement.headline,
            "why": judgement.why,
            "flags": list(judgement.flags),
            "notes": list(judgement.notes),
        },
        "plan": {"title": night.run.plan.header.title, "reference": night.run.reference.serial},
        "thermometers": [_item(night, item) for item in night.items],
    }
    return json.dumps(_finite(document), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def table_csv(characteristic: Characteristic) -> str:
    """R(t), dR/dt and U(t) at a round step, at most 200 rows."""
    low_c, high_c = characteristic.range_c
    return as_csv(table_rows(characteristic, table_step_k(high_c - low_c)))


def table_step_k(span_k: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that keeps a table short."""
    decade = 10.0 ** math.floor(math.log10(span_k / _MOST_STEPS))
    return next(step * decade for step in (*_STEPS, 10.0) if step * decade * _MOST_STEPS >= span_k)


def _item(night: NightResult, item: ItemResult) -> dict[str, Any]:
    facts = {
        "serial": item.serial,
        "role": item.role,
        "kind": item.kind,
        "problem": item.problem,
        "r0_before_ohm": item.r0_before_ohm,
        "r0_after_ohm": item.r0_after_ohm,
        "r0_shift_mk": item.shift_mk,
        "return_shift_mk": item.return_mk,
        "hysteresis": [asdict(one) for one in item.hysteresis],
        "repeatability_mk": item.repeatability_mk,
        "points": [_point(point) for point in item_points(night, item)],
    }
    return facts | (_result(item.characteristic) if item.characteristic is not None else {})


def _result(characteristic: Characteristic) -> dict[str, Any]:
    fit = characteristic.fit
    return {
        "equation": characteristic.equation.description,
        "reason_for_equation": characteristic.reason,
        "range_c": list(characteristic.range_c),
        "range_ohm": list(characteristic.range_ohm),
        "coefficients": [asdict(one) for one in printed_coefficients(characteristic)],
        "rounding_cost_mk": rounding_cost_mk(characteristic),
        "check_pairs": [asdict(pair) for pair in check_pairs(characteristic)],
        "covariance": characteristic.covariance.tolist(),
        "chi_squared": characteristic.chi_squared,
        "degrees_of_freedom": characteristic.degrees_of_freedom,
        "chi_squared_bounds": fit and fit.findings.chi_squared_bounds,
        "findings": list(fit.findings.sentences) if fit else [],
        "cautions": list(characteristic.cautions),
        "characteristic": to_dict(characteristic),
    }


def _point(point: ItemPoint) -> dict[str, Any]:
    return {
        "point": point.number,
        "approach": point.approach,
        **asdict(point.reduced),
        "residual_mk": point.residual_mk,
        "expanded_uncertainty_mk": point.expanded_mk,
        "excluded_because": point.excluded_because,
        "budget": None if point.budget is None else asdict(point.budget),
    }


def _finite(value: Any) -> Any:
    """The same with None for infinity, which JSON cannot say."""
    if isinstance(value, Mapping):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return None if isinstance(value, float) and math.isinf(value) else value
