"""What the fluid can do to the bench and to people: fire, boiling, salt, water, expansion."""

from __future__ import annotations

from collections.abc import Iterator

from daemon.precheck.findings import Finding, degrees
from drivers.errors import BadProfile
from drivers.heat_source import capabilities_of
from drivers.registry import find_profile
from plans.fluid import FIRE_MARGIN_K, Fluid
from plans.run_plan import RunPlan

OIL_EXPANSION_PER_K = 0.0009  # from memory: 8 to 10 % in 100 K for silicone oil


def fluid(run: RunPlan) -> Iterator[Finding]:
    """Nothing for a source without fluid."""
    tank = run.bench.fluid
    if tank is None:
        return
    yield from _fire(run, tank)
    if tank.kept_molten:
        yield from _molten(run, tank)
    if tank.kind == "salt":
        yield from _salt(tank)
    elif tank.kind in ("silicone_oil", "mineral_oil", "other"):
        yield from _oil(run, tank)
    elif tank.kind == "alcohol":
        yield from _alcohol(tank)
    else:
        yield from _water(run)


def _fire(run: RunPlan, tank: Fluid) -> Iterator[Finding]:
    fitted = run.bench.heat_source.cut_out
    if tank.fire_c is None or fitted is None:
        return
    ceiling = tank.fire_c - FIRE_MARGIN_K
    if not fitted.setting_c <= ceiling:
        yield Finding(
            "fire point",
            "refused",
            f"If everything else fails the cut-out lets {tank.name} reach {degrees(fitted.setting_c)}; "
            f"its fire point is {degrees(tank.fire_c)} and {FIRE_MARGIN_K:g} K must stay clear of it.",
            f"Set the cut-out to {degrees(ceiling)} or below, or use a fluid with a higher fire point.",
            value=degrees(fitted.setting_c),
            limit=degrees(ceiling),
            set_by=f"fluid {tank.name}: 25 K ascribed to IEC 61010-2-010, clause not read",
        )


def _oil(run: RunPlan, tank: Fluid) -> Iterator[Finding]:
    yield Finding(
        "oil",
        "caution",
        f"The tank holds {tank.name}, and hot oil burns skin and catches fire. "
        "Smoking oil: heat off at once. No water near it, not even a wet probe.",
        "Label the bath with the fluid's name and its highest working temperature; extraction on.",
    )
    swell = 100.0 * OIL_EXPANSION_PER_K * (max(run.visited_c) - min(run.visited_c))
    yield Finding(
        "oil level",
        "caution",
        f"From the coldest to the hottest point the oil grows by about {swell:.0f} %.",
        "Do not fill it to the top while cold; look at the level at both ends of the range.",
    )


def _water(run: RunPlan) -> Iterator[Finding]:
    yield Finding(
        "water",
        "caution",
        f"Water goes to {degrees(max(run.visited_c))} with nobody there: it evaporates, "
        "and a heater that falls dry burns out.",
        "Close the lid, top up, and check that the level switch works.",
    )


def _alcohol(tank: Fluid) -> Iterator[Finding]:
    yield Finding(
        "solvent",
        "caution",
        f"{tank.name} gives off vapour that burns; when the cooling stops it warms past its flash point.",
        "Keep the lid shut and sparks away; leave it only cold and ventilated.",
    )


def _salt(tank: Fluid) -> Iterator[Finding]:
    yield Finding(
        "salt",
        "caution",
        f"{tank.name} is molten salt: impurities, water or organic matter make it burn or burst.",
        "No water near it, nothing organic, no wet probe; no fire-fighting with water.",
        set_by="from memory: published accident reports",
    )


def _molten(run: RunPlan, tank: Fluid) -> Iterator[Finding]:
    """Parking it cold would break the sheaths; so would a power cut, against which nothing helps."""
    yield Finding(
        "molten",
        "caution",
        f"{tank.name} freezes at {degrees(tank.freezing_c)} and traps the sheaths: parking, "
        f"also after a halt, holds it at {degrees(run.parking_c)} with the heater on. A cut, or a power cut, "
        "lets it freeze.",
        "It is not left alone: `ohmvigil run --attended`. Melt it before the start.",
        set_by="common practice",
    )
    try:
        profile = find_profile(run.bench.heat_source.profile)
    except (BadProfile, OSError):
        return  # whoever opens it says what is wrong with it
    if profile is not None and not capabilities_of(profile).heater_switch:
        yield Finding(
            "molten",
            "refused",
            f"This controller has no heater switch: its lowest set-point would hold {tank.name} hot after a "
            "cut.",
            "Use a source whose heater can be switched off.",
        )
