"""What this bench's bridge and scanner can do, held against the bench file and the plan before any heat."""

from __future__ import annotations

from collections.abc import Iterator

from daemon.bridge_offers import check_offers
from daemon.executor.opening import settings_of
from daemon.precheck.findings import Finding
from drivers.bridge import with_settings
from drivers.errors import BadProfile, OutsideLimits
from drivers.profile_model import Profile
from drivers.registry import find_profile
from drivers.roles import BridgeCapabilities
from plans.run_plan import RunPlan


def bridge(run: RunPlan) -> Iterator[Finding]:
    """Channels, scanner, standard resistor, currents; a plug-in tells only when it is opened."""
    try:
        profile = find_profile(run.bench.bridge.profile)
        if profile is None:
            yield Finding(
                "bridge", "info", "The bridge is a plug-in: what it can do is known when it is opened."
            )
            return
        if profile.role != "bridge":
            raise BadProfile(f"profile {profile.id} is for the role {profile.role}, not bridge")
        can = with_settings(profile, settings_of(run.bench.bridge))
        check_offers(run, can)
    except (BadProfile, OutsideLimits) as error:
        yield Finding("bridge", "refused", f"The bridge cannot do what is asked of it: {error}.")
        return
    yield from _channels(run, can)
    if not can.reversal:
        yield Finding(
            "reversal", "info", "This bridge cannot reverse its current: thermal EMF stays in the readings."
        )


def _channels(run: RunPlan, can: BridgeCapabilities) -> Iterator[Finding]:
    """Either the bridge switches its own channels, or a scanner switches its one input."""
    if run.bench.scanner is None:
        if can.channels == 1:
            yield Finding(
                "scanner",
                "refused",
                "This bridge has one input, and the bench has no scanner in front of it.",
                "Enter the scanner's profile and address under [scanner] of the bench file.",
            )
        else:
            yield from _enough("bridge", can.channels, run.bench.channels)
        return
    if can.channels > 1:
        yield Finding(
            "scanner",
            "refused",
            f"This bridge switches {can.channels} channels of its own.",
            "Take [scanner] out of the bench file.",
        )
        return
    yield from _scanner(run, run.bench.scanner.profile)


def _scanner(run: RunPlan, name: str) -> Iterator[Finding]:
    try:
        profile: Profile | None = find_profile(name)
    except BadProfile as error:
        yield Finding("scanner", "refused", f"The scanner's profile cannot be used: {error}.")
        return
    if profile is not None and profile.scanner is None:
        yield Finding(
            "scanner", "refused", f"Profile {profile.id} is for the role {profile.role}, not scanner."
        )
        return
    if profile is not None and profile.scanner is not None:
        yield from _enough("scanner", profile.scanner.channels, run.bench.channels)
    yield Finding(
        "scanner",
        "info",
        "A scanner of its own switches the thermometers: it is asked before and after every reading which "
        "channel is closed.",
    )


def _enough(who: str, offered: int, stated: int) -> Iterator[Finding]:
    if stated > offered:
        yield Finding(
            f"{who} channels",
            "refused",
            f"The bench file gives the {who} {stated} channels, its profile {offered}.",
            f"Correct channels under [{who}] of the bench file.",
        )
