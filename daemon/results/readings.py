"""The reduced points of all thermometers as CSV."""

from __future__ import annotations

import csv
import io
from typing import Any

from daemon.results.calibrate import ItemResult, NightResult
from daemon.results.item_points import ItemPoint, item_points
from daemon.results.numbers import iso
from daemon.results.story import Story

_COLUMNS = (
    "serial",
    "role",
    "point",
    "label",
    "stage",
    "approach",
    "set_temperature_c",
    "mid_time_utc",
    "t90_c",
    "resistance_ohm",
    "current_ma",
    "sensitivity_ohm_per_k",
    "cycles",
    "readings",
    "independent_readings",
    "cycle_spread_mk",
    "reading_spread_mk",
    "source_drift_mk",
    "drift_left_mk",
    "flagged_readings",
    "residual_mk",
    "expanded_uncertainty_mk",
    "excluded_because",
)


def readings_csv(night: NightResult, story: Story) -> str:
    """The reduced points of all thermometers, units in the column names."""
    rows = [_reading(night, item, point, story) for item in night.items for point in item_points(night, item)]
    text = io.StringIO()
    writer = csv.DictWriter(text, _COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def _reading(night: NightResult, item: ItemResult, point: ItemPoint, story: Story) -> dict[str, Any]:
    reduced = point.reduced
    slope = reduced.sensitivity_ohm_per_k
    currents = {measured.index: measured.current_ma for measured in night.points}
    return {
        "serial": item.serial,
        "role": item.role,
        "point": point.number,
        "label": reduced.label,
        "stage": reduced.stage,
        "approach": point.approach,
        "set_temperature_c": reduced.set_temperature_c,
        "mid_time_utc": iso(story.utc_of_reading_s(reduced.index, reduced.mid_time_s)),
        "t90_c": f"{reduced.temperature_c:.6f}",
        "resistance_ohm": f"{reduced.resistance_ohm:.8f}",
        "current_ma": currents[reduced.index],
        "sensitivity_ohm_per_k": f"{slope:.7f}",
        "cycles": reduced.cycles,
        "readings": reduced.readings,
        "independent_readings": f"{max(reduced.readings / item.readings_worth_one, 1.0):.1f}",
        "cycle_spread_mk": f"{1e3 * reduced.cycle_spread_ohm / slope:.4f}",
        "reading_spread_mk": f"{1e3 * reduced.reading_spread_ohm / slope:.4f}",
        "source_drift_mk": f"{reduced.source_drift_mk:.4f}",
        "drift_left_mk": f"{reduced.quality.drift_left_mk:.4f}",
        "flagged_readings": " ".join(str(place + 1) for place in reduced.quality.outliers),
        "residual_mk": "" if point.residual_mk is None else f"{point.residual_mk:.4f}",
        "expanded_uncertainty_mk": "" if point.expanded_mk is None else f"{point.expanded_mk:.4f}",
        "excluded_because": point.excluded_because,
    }
