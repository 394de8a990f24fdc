"""Feeding a recorded run to a fresh procedure: the way back to where a night was, and the heart of replay."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from daemon.actions import (
    Action,
    Command,
    Mark,
    SwitchCooling,
    SwitchHeater,
    WriteRamp,
    WriteSetPoint,
    to_body,
)
from daemon.guards.panel import GuardPanel
from daemon.journal.entry import Entry, Kind, encode
from daemon.observations import Done, Observation, from_body
from daemon.procedure.script import Procedure, Resoak
from daemon.states import State

_COMMANDS: dict[str, Callable[[Mapping[str, Any]], Command]] = {
    "write_set_point": lambda body: WriteSetPoint(body["temperature_c"]),
    "write_ramp": lambda body: WriteRamp(body["rate_k_per_min"]),
    "switch_heater": lambda body: SwitchHeater(body["on"]),
    "switch_cooling": lambda body: SwitchCooling(body["on"]),
}


def command_of(body: Mapping[str, Any]) -> Command | None:
    """The command that an action's body describes; None for an action that changes nothing."""
    make = _COMMANDS.get(body["do"])
    return make(body) if make is not None else None


@dataclass(frozen=True, slots=True)
class Divergence:
    """Where the recorded run and today's procedure part ways."""

    seq: int
    recorded: str
    now: str

    def __str__(self) -> str:
        return f"entry {self.seq}: recorded was {self.recorded}, today's program asks for {self.now}"


@dataclass(frozen=True, slots=True)
class Fed:
    """Where a record ends: last entry, its time, the state the run was in, and whether it was closed.

    `parted`: today's program would have run otherwise. It cannot go on with this run; what the source was
    told is known all the same, so it can be brought down.
    """

    seq: int
    when_s: float
    utc_s: float
    state: State
    simulated: bool
    closed: bool = False
    parted: Divergence | None = None


class Feed:
    """Sends recorded observations to a procedure and lets the guards see them in the same order."""

    def __init__(self, procedure: Procedure, panel: GuardPanel) -> None:
        self._procedure = procedure
        self._panel = panel
        self._action: Action | None = None
        self._waiting_for = -1
        self._state = State.IDLE
        self._simulated = False
        self._parted: Divergence | None = None

    def run(self, entries: Iterable[Entry]) -> Fed:
        """Feed all entries, the procedure up to where it parts; raises ValueError on an empty record."""
        self._action = next(self._procedure)
        entry: Entry | None = None
        for entry in entries:
            self._take(entry)
        if entry is None:
            raise ValueError("the record is empty")
        return Fed(
            entry.seq,
            entry.when_s,
            entry.utc_s,
            self._state,
            self._simulated,
            entry.kind == Kind.CLOSED,
            self._parted,
        )

    def _take(self, entry: Entry) -> None:
        body: dict[str, Any] = dict(entry.body)
        match entry.kind:
            case Kind.OPENED:
                self._simulated = bool(body["simulated"])
            case Kind.STATE:
                self._state = State(body["to"])
                self._panel.situation.enter(self._state, entry.when_s)
            case Kind.MILESTONE if body.pop("by") == State.RUNNING:
                self._compare(entry, body, self._milestone())
                self._send(entry, Done(entry.when_s))
            case Kind.ACTION:
                self._acted(entry, body)
            case Kind.OBSERVATION:
                self._observed(entry, body)
            case Kind.INTERRUPTION:
                reason = Resoak(body["reason"])
                self._proceed(entry, lambda: self._procedure.throw(reason))
                self._waiting_for = -1
            case Kind.OPERATOR if body["word"] == "acknowledge":
                self._panel.acknowledge()
            case Kind.OPERATOR if body["word"] == "release" and self._state is State.HOLDING:
                self._panel.release()

    def _acted(self, entry: Entry, body: dict[str, Any]) -> None:
        by = body.pop("by")
        if by == State.RUNNING:
            self._compare(entry, body, to_body(self._action) if self._action is not None else {})
            self._waiting_for = entry.seq
        command = command_of(body)
        if command is not None:
            self._panel.situation.command(command, entry.when_s)

    def _observed(self, entry: Entry, body: dict[str, Any]) -> None:
        observation = from_body(body)
        self._panel.judge(observation)
        self._panel.cleared()
        if body["of"] == self._waiting_for:
            self._send(entry, observation)

    def _send(self, entry: Entry, observation: Observation) -> None:
        self._proceed(entry, lambda: self._procedure.send(observation))

    def _proceed(self, entry: Entry, step: Callable[[], Action]) -> None:
        if self._parted is not None:
            return
        try:
            self._action = step()
        except StopIteration:
            self._action = None
        except Exception as error:  # noqa: BLE001  another program may break on what an earlier one recorded
            self._parted = Divergence(entry.seq, str(entry.kind), f"nothing: it broke ({error!r})")

    def _milestone(self) -> dict[str, Any]:
        action = self._action
        return {"mark": action.mark, **action.data} if isinstance(action, Mark) else {}

    def _compare(self, entry: Entry, recorded: dict[str, Any], now: dict[str, Any]) -> None:
        # Compared as they are written, so that a float is the same only to the last digit.
        if self._parted is None and encode(recorded) != encode(now):
            self._parted = Divergence(entry.seq, encode(recorded), encode(now))
