"""The states of a run and the legal changes between them, all in one table."""

from __future__ import annotations

from enum import StrEnum


class State(StrEnum):
    """Where a run stands; heat is only ever added in RUNNING."""

    IDLE = "idle"
    RUNNING = "running"
    HOLDING = "holding"
    PARKING = "parking"
    CUT = "cut"
    INTERRUPTED = "interrupted"
    FINISHED = "finished"
    PARKED = "parked"


LEGAL: dict[State, frozenset[State]] = {
    State.IDLE: frozenset({State.RUNNING}),
    State.RUNNING: frozenset({State.HOLDING, State.PARKING, State.CUT, State.INTERRUPTED, State.FINISHED}),
    # Holding goes back to running by a person's release, or when its cause is gone by itself.
    State.HOLDING: frozenset({State.RUNNING, State.PARKING, State.CUT, State.INTERRUPTED}),
    # Parking can only become stronger; nothing leads back to heat.
    State.PARKING: frozenset({State.PARKED, State.CUT, State.INTERRUPTED}),
    State.CUT: frozenset({State.PARKED, State.INTERRUPTED}),
    # After an interruption a person decides; without one the only way is down.
    State.INTERRUPTED: frozenset({State.RUNNING, State.PARKING, State.CUT, State.INTERRUPTED}),
    State.FINISHED: frozenset(),
    State.PARKED: frozenset(),
}

HALTED = frozenset({State.PARKING, State.CUT, State.PARKED})
"""States from which no person and no program leads this run back to heat."""


class IllegalChange(Exception):
    """A change of state that the table does not allow."""


def change(old: State, new: State) -> State:
    """The new state; raises IllegalChange."""
    if new not in LEGAL[old]:
        raise IllegalChange(f"a run that is {old} cannot become {new}")
    return new
