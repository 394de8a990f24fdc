"""Whether a guardian could park the source of a run, and by which way."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from daemon.guardian.orders import Limits, Orders, Way
from daemon.guardian.script import compile_script
from drivers.errors import BadProfile
from drivers.profile_model import SerialSettings
from drivers.registry import find_profile
from drivers.wires.address import Address, parse_address
from plans.run_plan import RunPlan


def guardian_path(run: RunPlan) -> str | None:
    """Why no guardian can park this source, as a sentence for the person at the bench; None when one can."""
    if not hasattr(os, "pidfd_open"):
        return f"the guardian needs Linux's process descriptors; this system is {sys.platform}"
    try:
        way = way_of(run)
        compile_script(run, way.kind)
    except (BadProfile, OSError) as error:
        return str(error)
    return None


def orders_of(run: RunPlan, record: Path) -> Orders:
    """What the guardian of this run is told; its log lies beside the record. Raises BadProfile, OSError."""
    way = way_of(run)
    log = record.resolve().with_suffix(".guardian.log")
    log.parent.mkdir(parents=True, exist_ok=True)
    return Orders(way, compile_script(run, way.kind), Limits(), str(log))


def way_of(run: RunPlan) -> Way:
    """The guardian's own way to the heat source; raises BadProfile when there is none."""
    source = run.bench.heat_source
    place = parse_address(source.address)
    match place.kind:
        case "tcp":
            return Way("tcp", place.place, place.port)
        case "serial":
            return _serial(place, source.profile)
        case "simulated":
            raise BadProfile("a simulated source lives inside the program: no guardian has a way to it")
    raise BadProfile(f"a source at {source.address} is reached through VISA, where the guardian has no way")


def _serial(place: Address, name: str) -> Way:
    from daemon.guardian.wire import speed

    profile = find_profile(name)
    line = profile.link.serial if profile is not None else SerialSettings()
    options = place.options
    way = Way(
        "serial",
        place.place,
        baud=int(options.get("baud", line.baud)),
        bits=int(options.get("bits", line.bits)),
        parity=options.get("parity", line.parity),
        stop=int(options.get("stop", line.stop)),
    )
    try:
        speed(way.baud)
    except AttributeError as error:
        raise BadProfile(f"serial:{place.place}: the guardian cannot set {way.baud} baud") from error
    return way
