"""The reading sequences of one thermometer on the page: how good each was, and what stands out."""

from __future__ import annotations

from daemon.results.calibrate import ItemResult
from daemon.results.markup import Html, element, joined, table
from daemon.results.numbers import UNKNOWN, fixed, point_name, signed
from daemon.results.reduce import Reduced

_NOTE = (
    "Item minus reference, reading by reading: s of one reading, how many independent readings they are "
    "worth (successive ones resemble each other; all points pooled), s from cycle to cycle, and what is left "
    "of the drift over the sequence after the symmetrical order took out the source's. A reading five robust "
    "standard deviations away is flagged; flagged readings are counted like all others."
)


def sequences_table(item: ItemResult) -> Html:
    """One row a point, in the order they were measured; nothing when there is none."""
    header = (
        "sequence at",
        "cycles",
        "readings",
        "worth",
        "s of readings / mK",
        "s of cycles / mK",
        "drift of source / mK",
        "drift left / mK",
        "thermal EMF / µV",
        "flagged",
    )
    if not item.points:
        return Html("")
    rows = [_row(point, item.readings_worth_one) for point in item.points]
    return joined([table(header, rows, words=1), element("p", _NOTE, cls="quiet")])


def flagged_in_words(point: Reduced) -> str:
    """Readings of a sequence that stand out, by their number and how far they are from the mean."""
    found = point.quality
    told = [f"no. {place + 1}: {signed(found.differences_mk[place], 1, 'mK')}" for place in found.outliers]
    return "; ".join(told) or "none"


def _row(point: Reduced, worth_one: float) -> list[str]:
    per_mk = 1e3 / point.sensitivity_ohm_per_k
    s_readings_mk = per_mk * point.reading_spread_ohm
    return [
        point_name(point.index, point.set_temperature_c, point.label),
        str(point.cycles),
        str(point.readings),
        fixed(max(point.readings / worth_one, 1.0), 1),
        fixed(s_readings_mk, 2) if point.readings > point.cycles else UNKNOWN,
        fixed(per_mk * point.cycle_spread_ohm, 2),
        fixed(point.source_drift_mk, 2),
        signed(point.quality.drift_left_mk, 2),
        signed(point.emf_uv, 2),
        flagged_in_words(point),
    ]
