"""A thermometer's history as text."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from daemon.fitting.characteristic import Characteristic
from daemon.history.check_standard import charted
from daemon.history.heat import ABOVE_C
from daemon.history.since_last import SinceLast, compared
from daemon.history.visits import Visit
from daemon.results.numbers import counted, fixed, signed, significant


def history_lines(
    serial: str, visits: Sequence[Visit], certificate: Characteristic | None = None
) -> Iterator[str]:
    """One line a run (held against `certificate` if there is one), then heat, limits, the control chart."""
    yield f"{serial}: {counted(len(visits), 'run')}"
    for place, visit in enumerate(visits):
        yield _line(visit, compared(visits[: place + 1]), certificate)
    above = ", ".join(
        f"{math.fsum(v.heat.hours_above[place] for v in visits):.1f} h above {limit_c:g} °C"
        for place, limit_c in enumerate(ABOVE_C)
    )
    met = [(visit.heat.highest_c, visit.opened) for visit in visits if visit.heat.highest_c is not None]
    if met:
        highest_c, when = max(met)
        yield f"heat: {above}; highest {fixed(highest_c, 1, '°C')} ({when:%Y-%m-%d})"
    for visit in visits:
        if visit.heat.over_limit:
            reached = fixed(visit.heat.highest_c, 1, "°C")
            yield f"OVER ITS LIMIT of {visit.heat.limit_c:g} °C: {reached} in {visit.record}"
    yield _last_profile(visits)
    yield from _chart_lines(visits)
    last_ohm = next((visit.r0_ohm for visit in reversed(visits) if visit.r0_ohm is not None), None)
    if last_ohm is not None:
        yield f"for the register: last_r0_ohm = {last_ohm:.4f}"


def _last_profile(visits: Sequence[Visit]) -> str:
    for visit in reversed(visits):
        if visit.immersion:
            told = "; ".join(one.words for one in visit.immersion)
            return f"last immersion profile ({visit.opened:%Y-%m-%d}): {told}"
    return "no immersion profile on file"


def _line(visit: Visit, since: SinceLast | None, certificate: Characteristic | None) -> str:
    apart_mk = None if certificate is None else visit.apart_mk(certificate)
    parts = [
        f"{visit.opened:%Y-%m-%d}",
        visit.role.replace("_", " "),
        f"R0 {fixed(visit.r0_ohm, 4, 'Ω')}" if visit.r0_ohm is not None else "R0 not measured",
        f"shift {signed(visit.shift_mk, 2, 'mK')}" if visit.shift_mk is not None else "",
        f"return point {signed(visit.return_mk, 2, 'mK')}" if visit.return_mk is not None else "",
        f"|En| {since.en:.2f} since {since.last:%Y-%m-%d}" if since is not None else "",
        f"up to {fixed(apart_mk, 1, 'mK')} from its certificate" if apart_mk is not None else "",
        f"up to {fixed(visit.heat.highest_c, 1, '°C')}" if visit.heat.highest_c is not None else "",
        ", ".join(f"{name} {significant(value, 6)}" for name, value in visit.coefficients.items()),
        visit.record,
        "SIMULATED" if visit.simulated else "",
    ]
    return "  " + "; ".join(part for part in parts if part)


def _chart_lines(visits: Sequence[Visit]) -> Iterator[str]:
    checked, chart = charted(visits)
    if not checked:
        yield "no check standard with a certificate was in these runs: no control chart watches the reference"
        return
    newest = checked[-1]
    yield f"check standard {newest.check_standard} by reference {newest.reference}: {chart.sentence}"
    for visit, mark in zip(checked, chart.marks, strict=True):
        yield f"  {visit.opened:%Y-%m-%d}  {signed(visit.check_mk, 2, 'mK')}  {mark}"
    if chart.suspect_since is not None:
        first = checked[chart.suspect_since]
        yield (
            f"SUSPECT SINCE {first.opened:%Y-%m-%d} ({first.record}): every point since the last good "
            "run, of every thermometer calibrated by this reference; do not release them"
        )
