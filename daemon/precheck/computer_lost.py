"""What brings the source down when the whole computer is lost."""

from __future__ import annotations

from collections.abc import Iterator

from daemon.lease import terms_of, unfit
from daemon.precheck.findings import Finding, degrees
from drivers.errors import BadProfile
from drivers.registry import find_profile
from plans.run_plan import RunPlan


def computer_lost(run: RunPlan) -> Iterator[Finding]:
    """The guardian is gone with it: only the controller's own reaction to silence is left."""
    try:
        profile = find_profile(run.bench.heat_source.profile)
    except BadProfile:
        return  # said with its abilities
    if profile is None:
        return
    name, parking_c = "computer lost", run.parking_c
    terms = terms_of(profile, parking_c)
    if terms is None:
        yield Finding(
            name,
            "caution",
            "This controller has no reaction to silence: when the whole computer is lost, it stays at its "
            "set-point until a person comes.",
            "Set its own timer or programme end, where it has one, behind the end of the night.",
        )
    elif why := unfit(profile, parking_c):
        yield Finding(
            name, "refused", f"The controller cannot park by itself when nobody talks to it: {why}."
        )
    else:
        yield Finding(
            name,
            "info",
            f"When the whole computer is lost, this controller takes {degrees(terms.fall_back_c)} by itself "
            f"after {terms.silence_s:g} s without a command, at the ramp set last. The program sets that "
            f"before heat and renews it every {terms.renewed_every_s:g} s; after such a gap a run is parked, "
            "whatever its resume policy. It stays set: switch it off at the controller to work by hand.",
        )
