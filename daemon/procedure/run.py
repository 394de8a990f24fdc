"""A calibration run, in order: look, 0 °C first, the points, 0 °C again, park."""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping
from typing import Any

from daemon.actions import Action, LookAtSource, Mark
from daemon.observations import Failed, Observation, Source
from daemon.procedure.annealing import Change, hold
from daemon.procedure.approach import approach
from daemon.procedure.commands import switches
from daemon.procedure.condensing import Air
from daemon.procedure.identity import check_identity
from daemon.procedure.immersing import immersion_profile
from daemon.procedure.measuring import self_heating, sequence
from daemon.procedure.parking import park
from daemon.procedure.script import (
    COMMAND_FAILED,
    CommandFailed,
    Point,
    Procedure,
    Resoak,
    RunEnded,
    Script,
)
from daemon.procedure.settling import settle_and_soak
from daemon.procedure.watching import Watching

_Stage = Callable[[], Procedure]


def calibration_run(script: Script) -> Procedure:
    """The whole night. A heat source that does not obey is reported by a mark; others take over then."""
    watching = Watching(script)
    yield Mark("run_started", {"points": len(script.points)})
    try:
        yield from _insisting(lambda: _look(script, watching))
        yield from _insisting(lambda: switches(script, heater=True, cooling=None))
        yield from _all_points(script, watching)
    except RunEnded as end:
        yield Mark("run_ended_early", {"reason": str(end)})
    yield from _insisting(lambda: park(script, watching))
    yield Mark("run_finished")


def _all_points(script: Script, watching: Watching) -> Procedure:
    change, air = Change(script.annealing), Air(watching)
    for point in script.points:
        if point.stage in ("anneal", "annealed") and change.stable:
            data = {"index": point.index, "stage": point.stage, "label": point.label}
            yield Mark("annealing_not_needed", data)
            continue
        yield from _insisting(lambda point=point: _visit(script, watching, point, change, air))  # type: ignore[misc]


def _insisting(stage: _Stage) -> Procedure:
    """Do a stage again from its beginning whenever it was interrupted, also while that is being said."""
    again = ""
    while True:
        try:
            if again:
                yield Mark("starting_over", {"reason": again})
            try:
                yield from stage()
                return
            except CommandFailed as failure:
                again = ""
                yield Mark(COMMAND_FAILED, {"reason": str(failure)})
        except Resoak as interruption:
            again = str(interruption)


def _look(script: Script, watching: Watching) -> Procedure:
    """Everything is read once before anything is heated."""
    observation = yield LookAtSource()
    if not isinstance(observation, Source):
        reason = observation.reason if isinstance(observation, Failed) else "no answer"
        raise RunEnded(f"the heat source does not answer: {reason}")
    for _ in range(3):
        yield from watching.scan(script.scan_current_ma)
    missing = [f.name for c, f in script.channels.items() if c not in watching.temperatures_c]
    if script.channels[script.reference_channel].name in missing:
        raise RunEnded("the reference thermometer does not read like a platinum thermometer")
    rest = {script.channels[c].name: round(t, 3) for c, t in watching.temperatures_c.items()}
    yield Mark("looked_at_rest", {"temperatures_c": rest, "missing": missing})
    yield from check_identity(watching)


def _visit(script: Script, watching: Watching, point: Point, change: Change, air: Air) -> Procedure:
    """One point: go there, wait for equilibrium, soak, read; annealing: go there and stay."""
    data = {"index": point.index, "stage": point.stage, "label": point.label}
    yield Mark("point_started", data | {"temperature_c": point.temperature_c})
    if (yield from _too_damp(air, point, data)):
        return
    yield from switches(script, heater=None, cooling=point.cooling_on)
    yield from approach(script, watching, point)
    if point.stage == "anneal":
        yield from hold(watching, point)
        return
    settled = yield from settle_and_soak(watching, point)
    if not settled and point.on_timeout == "skip":
        yield Mark("point_skipped", data | {"reason": "no equilibrium within the longest wait"})
        return
    if not settled and point.on_timeout == "end":
        raise RunEnded(f"point {point.index} ({point.label}) found no equilibrium within its longest wait")
    if (yield from _too_damp(air, point, data)):
        return
    reversal = {"reversed": True} if point.reverse_current else {}
    yield Mark("sequence_started", data | {"settled": settled} | reversal)
    read = yield from sequence(watching, point)
    if point.self_heating_ma is not None:
        yield from self_heating(watching, point, point.self_heating_ma)
    if point.immersion is not None:
        yield from immersion_profile(watching, point, point.immersion)
    yield Mark("point_finished", data | {"settled": settled})
    last = all(one.stage != "annealed" for one in script.points[point.index + 1 :])
    yield from change.take(point, read, watching, last)


def _too_damp(air: Air, point: Point, data: Mapping[str, Any]) -> Generator[Action, Observation, bool]:
    reason = yield from air.spoils(point)
    if reason:
        yield Mark("point_skipped", {**data, "reason": reason})
    return bool(reason)
