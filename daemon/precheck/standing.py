"""What a person must know before leaving: what this program cannot protect from, and what hurts."""

from __future__ import annotations

from collections.abc import Iterator

from daemon.precheck.findings import Finding, degrees
from daemon.touching import HOT_C
from drivers.errors import BadProfile
from drivers.instrument import UPTIME
from drivers.registry import find_profile
from plans.run_plan import RunPlan

CLOSING = (
    "Follow your local codes, the safety data sheet of whatever is in the source, and your safety office; "
    "wiring, cut-outs, gas and refrigerant work belong to licensed people."
)


def standing(run: RunPlan) -> Iterator[Finding]:
    """Protection first, then burns and furnace, and the closing sentence last."""
    yield from _protection(run)
    yield from _restarts(run)
    top, source = max(run.visited_c), run.bench.heat_source
    if top > HOT_C:
        sentence = f"Probes leave the {source.spoken} up to {degrees(top)} hot and look cold."
        yield Finding(
            "burns",
            "caution",
            sentence,
            f"Touch nothing that has not been measured below {HOT_C:.0f} °C.",
        )
    if source.kind != "stirred_bath":
        yield Finding(
            "block and furnace",
            "caution",
            "Earth sheaths and block behind residual-current protection; no cable across hot parts; "
            "old insulation sheds fibres that are not to be breathed.",
            "Keep 1 m around it free of anything that burns, and no liquid or paste in the bores.",
        )
    yield Finding("rules", "caution", CLOSING)


def _restarts(run: RunPlan) -> Iterator[Finding]:
    """Only an instrument that tells for how long it has been on shows that it was off for a moment."""
    try:
        profile = find_profile(run.bench.heat_source.profile)
    except (BadProfile, OSError):
        return  # whoever opens it says what is wrong with it
    if profile is None or UPTIME not in profile.questions:
        yield Finding(
            "unseen restart",
            "caution",
            f"The {run.bench.heat_source.spoken} does not tell for how long it has been on: a restart "
            "between two looks, after which set-point and heater read as before, is not seen.",
            "If it can tell, give its profile a [read.uptime]; else keep it on a supply that does not dip.",
        )


def _protection(run: RunPlan) -> Iterator[Finding]:
    source = run.bench.heat_source
    yield Finding(
        "not a safety system",
        "caution",
        "This program is not a safety system: the independent over-temperature cut-out stays required.",
        "Before leaving: cut-out set and proved, emergency notice and a telephone number on the door, "
        "first point reached while you are there.",
    )
    if not source.contactor:
        yield Finding(
            "contactor",
            "caution",
            "No contactor is fitted: a stuck relay is not protected by this program.",
            "Have one fitted in the heater's supply, or rely on the cut-out alone and know it.",
        )
    else:
        yield Finding(
            "contactor",
            "caution",
            "A contactor is fitted, but this program cannot open it: a stuck relay is not protected by it.",
            "See that the cut-out opens the contactor, and that a person can.",
        )
    if source.power_return == "unknown":
        yield Finding(
            "power return",
            "caution",
            f"What the {source.spoken} does after a power cut is not known; it is taken to heat again.",
            "Try it once on a cool source and enter power_return in the bench file.",
        )
    elif source.power_return == "resumes":
        sentence = (
            f"After a power cut the {source.spoken} heats again by itself, with or without this program."
        )
        yield Finding("power return", "caution", sentence, "The cut-out must be right for that.")
