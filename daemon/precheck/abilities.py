"""What this bench's controller cannot do, and what follows; what stands beside it makes up for some of it."""

from __future__ import annotations

from collections.abc import Iterator

from daemon.precheck.findings import Finding
from drivers.errors import BadProfile
from drivers.heat_source import capabilities_of
from drivers.profile_model import PowerReturn
from drivers.registry import find_profile
from drivers.roles import HeatSourceCapabilities
from plans.run_plan import RunPlan


def abilities(run: RunPlan) -> Iterator[Finding]:
    """One finding for each ability that is missing; a plug-in tells only when it is opened."""
    try:
        profile = find_profile(run.bench.heat_source.profile)
    except BadProfile as error:
        yield Finding("profile", "refused", f"The heat source's profile cannot be used: {error}.")
        return
    if profile is None:
        yield Finding(
            "abilities", "info", "The heat source is a plug-in: what it can do is known when it is opened."
        )
        return
    can = capabilities_of(profile)
    yield from _missing(can)
    yield from _states(run, can)
    yield from _power_return(profile.power_return)


def _missing(can: HeatSourceCapabilities) -> Iterator[Finding]:
    if not can.ramp:
        yield Finding("ramp", "info", "This controller cannot ramp: the daemon will step the set-point.")
    if not can.heater_switch:
        yield Finding(
            "heater switch",
            "caution",
            "This controller has no heater switch: a cut can only take its set-point down.",
            "See that the cut-out, or a person, can take its power.",
        )
    if not can.over_temperature:
        yield Finding(
            "over-temperature state",
            "caution",
            "This controller does not tell when its cut-out has tripped: it shows as heat that stays away.",
        )
    if not can.output:
        yield Finding(
            "output",
            "info",
            "This controller does not show its output: heat unasked for is seen by its rise.",
        )


def _states(run: RunPlan, can: HeatSourceCapabilities) -> Iterator[Finding]:
    """Stirrer and level, where there is a fluid: told by the controller, by interlocks, or by nobody."""
    if run.bench.fluid is None:
        return
    beside = run.bench.interlocks is not None
    for name, told, trouble in (
        ("stirrer", can.stirrer, "a stirrer that stops shows only in the readings"),
        ("level", can.level, "a falling level is seen by nobody"),
    ):
        if not told and not beside:
            yield Finding(
                name,
                "caution",
                f"Neither controller nor interlocks watch the {name}: {trouble}.",
                "Fit an interlock and enter it under [interlocks] of the bench file.",
            )
    if beside:
        yield Finding("interlocks", "info", "Interlocks beside the controller are looked at every second.")


def _power_return(after: PowerReturn) -> Iterator[Finding]:
    if after.tested_on is None:
        yield Finding(
            "power return by profile",
            "caution",
            f"By its profile the controller {_SAID[after.behaviour]} when power returns; untested.",
            "Try it once on a cool source and enter tested_on in the profile.",
        )
    else:
        yield Finding(
            "power return by profile",
            "info",
            f"By its profile the controller {_SAID[after.behaviour]} when power returns, "
            f"tested on {after.tested_on.isoformat()}.",
        )


_SAID = {
    "resumes": "heats again",
    "stays off": "stays off",
    "no heat": "gives no heat",
    "unknown": "does nobody knows what",
}
