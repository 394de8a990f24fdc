"""A thermometer's history as text."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from daemon.history.chart import Chart, control_chart
from daemon.history.heat import ABOVE_C
from daemon.history.visits import Visit


def charted(visits: Sequence[Visit]) -> tuple[list[Visit], Chart]:
    """The runs that have a check standard's difference, and their control chart."""
    checked = [visit for visit in visits if visit.check_mk is not None]
    return checked, control_chart([visit.check_mk for visit in checked if visit.check_mk is not None])


def history_lines(serial: str, visits: Sequence[Visit]) -> Iterator[str]:
    """One line a run, then heat, limits and the control chart."""
    yield f"{serial}: {len(visits)} run{'s' if len(visits) != 1 else ''}"
    for visit in visits:
        yield _line(visit)
    above = ", ".join(
        f"{math.fsum(v.heat.hours_above[place] for v in visits):.1f} h above {limit_c:g} °C"
        for place, limit_c in enumerate(ABOVE_C)
    )
    highest = max(visits, key=lambda visit: visit.heat.highest_c)
    yield f"heat: {above}; highest {highest.heat.highest_c:.1f} °C ({highest.opened:%Y-%m-%d})"
    over = [visit for visit in visits if visit.heat.over_limit]
    for visit in over:
        heat = visit.heat
        yield f"OVER ITS LIMIT of {heat.limit_c:g} °C: {heat.highest_c:.1f} °C in {visit.record.name}"
    yield _last_profile(visits)
    yield from _chart_lines(visits)
    last_ohm = next((v.r0_after_ohm or v.r0_before_ohm for v in reversed(visits) if _r0(v) is not None), None)
    if last_ohm is not None:
        yield f"for the register: last_r0_ohm = {last_ohm:.4f}"


def _last_profile(visits: Sequence[Visit]) -> str:
    for visit in reversed(visits):
        if visit.immersion:
            told = "; ".join(one.words for one in visit.immersion)
            return f"last immersion profile ({visit.opened:%Y-%m-%d}): {told}"
    return "no immersion profile on file"


def _r0(visit: Visit) -> float | None:
    return visit.r0_after_ohm if visit.r0_after_ohm is not None else visit.r0_before_ohm


def _line(visit: Visit) -> str:
    r0, shift = _r0(visit), visit.shift_mk
    parts = [
        f"{visit.opened:%Y-%m-%d}",
        visit.role.replace("_", " "),
        f"R0 {r0:.4f} Ω" if r0 is not None else "R0 not measured",
        f"shift {shift:+.2f} mK" if shift is not None else "",
        f"up to {visit.from_certificate_mk:.1f} mK from its certificate"
        if visit.from_certificate_mk is not None
        else "",
        f"up to {visit.heat.highest_c:.1f} °C",
        ", ".join(f"{name} {value:.6g}" for name, value in visit.coefficients),
        visit.record.name,
        "SIMULATED" if visit.simulated else "",
    ]
    return "  " + "; ".join(part for part in parts if part)


def _chart_lines(visits: Sequence[Visit]) -> Iterator[str]:
    checked, chart = charted(visits)
    if not checked:
        yield "no check standard with a certificate was in these runs: nothing watches the reference"
        return
    yield f"check standard against reference {checked[-1].reference}: {chart.sentence}"
    for visit, mark in zip(checked, chart.marks, strict=True):
        yield f"  {visit.opened:%Y-%m-%d}  {visit.check_mk:+.2f} mK  {mark}"
    if chart.suspect_since is not None:
        first = checked[chart.suspect_since]
        yield (
            f"SUSPECT SINCE {first.opened:%Y-%m-%d} ({first.record.name}): every point since the last good "
            "run, of every thermometer calibrated by this reference; do not release them"
        )
