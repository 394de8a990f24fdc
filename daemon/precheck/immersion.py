"""Depth beyond the sensing length, counted in diameters; the rule warns, only a withdrawal test knows."""

from __future__ import annotations

from collections.abc import Iterator

from daemon.precheck.findings import Finding
from plans.probe import Thermometer
from plans.run_plan import RunPlan

ENOUGH_DIAMETERS = (
    15.0  # DKD-R 5-4 counts total depth (read second-hand); beyond the sensing length is stricter
)
THICKEST_IN_BLOCK_MM = 6.0
WIDEST_CLEARANCE_MM = 0.5  # DKD-R 5-4 to 660 °C (read second-hand)
HOT_CLEARANCE_MM = 1.0
HOT_ABOVE_C = 660.0


def diameters(run: RunPlan, one: Thermometer) -> float:
    """(immersed length − sensing length) / diameter."""
    return (run.immersion_mm(one.serial) - one.sensing_length_mm) / one.diameter_mm


def immersion(run: RunPlan) -> Iterator[Finding]:
    """Cautions for shallow or loose probes, otherwise the smallest depth found."""
    shallow = [one for one in run.thermometers if not diameters(run, one) >= ENOUGH_DIAMETERS]
    for one in shallow:
        yield Finding(
            "immersion",
            "caution",
            f"Probe {one.serial} stands {diameters(run, one):.0f} diameters deep beyond its sensing length; "
            f"{ENOUGH_DIAMETERS:g} are usual.",
            "Put it deeper, or withdraw it step by step to see how much heat the stem carries.",
            value=f"{diameters(run, one):.1f} diameters",
            limit=f"{ENOUGH_DIAMETERS:g} diameters",
            set_by="DKD-R 5-4, read second-hand",
        )
    if not shallow:
        least = min(run.thermometers, key=lambda one: diameters(run, one))
        sentence = f"The shallowest probe, {least.serial}, stands {diameters(run, least):.0f} diameters deep."
        yield Finding("immersion", "info", sentence)
    if run.bench.heat_source.kind != "stirred_bath":
        yield from _bores(run)


def _bores(run: RunPlan) -> Iterator[Finding]:
    clearance = run.bench.heat_source.bore_clearance_mm
    widest = WIDEST_CLEARANCE_MM if max(run.visited_c) <= HOT_ABOVE_C else HOT_CLEARANCE_MM
    if clearance is None or not clearance <= widest:
        stated = "not stated" if clearance is None else f"{clearance:g} mm"
        yield Finding(
            "immersion",
            "caution",
            f"The clearance between sheaths and bores is {stated}; up to {widest:g} mm is usual.",
            "Use a closer insert; never fill the gap with fluid or paste.",
            value=stated,
            limit=f"{widest:g} mm",
            set_by="DKD-R 5-4, read second-hand",
        )
    for one in run.thermometers:
        if one.diameter_mm > THICKEST_IN_BLOCK_MM:
            sentence = f"Probe {one.serial} is {one.diameter_mm:g} mm thick; blocks suit up to 6 mm."
            yield Finding("immersion", "caution", sentence, "Expect more stem conduction, and test it.")
