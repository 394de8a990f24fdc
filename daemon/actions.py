"""Everything a procedure can ask for: a short list of plain values, printed, journaled and compared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar


@dataclass(frozen=True, slots=True)
class WriteSetPoint:
    """Command a set-point and read it back."""

    do: ClassVar[str] = "write_set_point"
    temperature_c: float


@dataclass(frozen=True, slots=True)
class WriteRamp:
    """Command the controller's ramp limit."""

    do: ClassVar[str] = "write_ramp"
    rate_k_per_min: float


@dataclass(frozen=True, slots=True)
class SwitchHeater:
    """Switch the heater output."""

    do: ClassVar[str] = "switch_heater"
    on: bool


@dataclass(frozen=True, slots=True)
class SwitchCooling:
    """Switch the fan or the chiller."""

    do: ClassVar[str] = "switch_cooling"
    on: bool


@dataclass(frozen=True, slots=True)
class LookAtSource:
    """One look at the heat source."""

    do: ClassVar[str] = "look_at_source"


@dataclass(frozen=True, slots=True)
class LookAtRoom:
    """One look at the room's air, on a bench that has an instrument for it."""

    do: ClassVar[str] = "look_at_room"


@dataclass(frozen=True, slots=True)
class Measure:
    """One resistance reading.

    `use` says what for: "scan" (watching), "discard" (first after a switch), "sequence" (evaluated),
    "self_heating_…" (at a second current), "immersion_…" (at a lesser depth);
    `cycle` counts the symmetrical cycles of a point from 1, `visit` the visits within the cycle.
    """

    do: ClassVar[str] = "measure"
    channel: int
    current_ma: float
    use: str = "scan"
    cycle: int = 0
    visit: int = 0


@dataclass(frozen=True, slots=True)
class Wait:
    """Let time pass; the guards go on watching."""

    do: ClassVar[str] = "wait"
    seconds: float


@dataclass(frozen=True, slots=True)
class AskPerson:
    """Ask whoever attends to set a probe's depth; done as soon as it is said, `HearPerson` brings the answer.

    `withdrawn_mm`: how far the probe on `channel` shall be out of its usual depth.
    """

    do: ClassVar[str] = "ask_person"
    request: str
    channel: int
    withdrawn_mm: float


@dataclass(frozen=True, slots=True)
class HearPerson:
    """Has whoever attends said that it is done?"""

    do: ClassVar[str] = "hear_person"


@dataclass(frozen=True, slots=True)
class Mark:
    """A milestone of the run: nothing is done, it is only written down."""

    do: ClassVar[str] = "mark"
    mark: str
    data: Mapping[str, Any] = field(default_factory=dict)


Command = WriteSetPoint | WriteRamp | SwitchHeater | SwitchCooling
"""Actions that change something at the heat source."""

Action = Command | LookAtSource | LookAtRoom | Measure | AskPerson | HearPerson | Wait | Mark


def to_body(action: Action) -> dict[str, Any]:
    """The action as it is written into the journal."""
    return {"do": action.do, **{name: getattr(action, name) for name in action.__slots__}}
