"""What a procedure is, and the facts it may know: the plan's steps and the channels, no clocks or wires."""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping
from dataclasses import dataclass

from daemon.actions import Action
from daemon.channels import ITEM_ROLES, ChannelFacts
from daemon.equilibrium import Criterion
from daemon.observations import Observation

Procedure = Generator[Action, Observation, None]
"""Yields actions, is sent the observation of each; knows neither time nor chance nor wires."""


class Resoak(Exception):
    """Thrown into a procedure after nobody was watching or a hold ended: soak again, measure again."""


COMMAND_FAILED = "command_failed"
"""The mark by which a procedure says that the heat source did not obey; the executor reacts to it."""


class CommandFailed(Exception):
    """A command was not confirmed in three tries: the way to the heat source is in doubt."""


class GivenUp(Exception):
    """Everything was commanded, nobody came, and the source is still not known to be cool."""


class RunEnded(Exception):
    """The plan itself says to end here (a point ran out of time)."""


@dataclass(frozen=True, slots=True)
class ImmersionProfile:
    """Which channel is withdrawn in steps (mm), and how long each depth is given to come to rest (s)."""

    channel: int
    step_mm: float
    wait_s: float


@dataclass(frozen=True, slots=True)
class Point:
    """One step of the run; temperatures in °C, times in s, current in mA.

    `stage` is "zero_before", "anneal", "annealed", "point" or "zero_after"; `on_timeout`
    is "take_and_mark", "skip" or "end".
    """

    index: int
    stage: str
    label: str
    temperature_c: float
    ramp_k_per_min: float
    current_ma: float
    criterion: Criterion
    minimum_soak_s: float
    maximum_wait_s: float
    on_timeout: str
    cycles: int
    readings_per_visit: int
    discard_after_switch: int
    cooling_on: bool | None
    self_heating_ma: float | None = None
    discard_after_current: int = 0
    immersion: ImmersionProfile | None = None
    reverse_current: bool = False


@dataclass(frozen=True, slots=True)
class Annealing:
    """When annealing is enough: no item changed by more than this (mK); or what happens then."""

    stable_within_mk: float
    ends_when_unstable: bool


@dataclass(frozen=True, slots=True)
class Source:
    """What the heat source can be told: `cooling_k_per_min` gives the allowed fall at a temperature.

    `molten` names a fluid that would freeze in the room, at `freezing_c`: parking then holds it at
    `parking_c`, heater on, and no set-point goes below `minimum_c`, where it is still liquid.
    """

    can_ramp: bool
    heater_switch: bool
    cooling_switch: bool
    parking_c: float
    minimum_c: float
    cooling_k_per_min: Callable[[float], float]
    display_offset_k: float = 0.0
    molten: str = ""
    freezing_c: float = 0.0


@dataclass(frozen=True, slots=True)
class Script:
    """Everything a run's procedure knows.

    `clear_of_dew_k`: K above the room's dew point that heads need; None where nobody looks at the room.
    """

    points: tuple[Point, ...]
    channels: Mapping[int, ChannelFacts]
    source: Source
    scan_current_ma: float
    annealing: Annealing | None = None
    clear_of_dew_k: float | None = None

    @property
    def reference_channel(self) -> int:
        """Channel of the reference thermometer."""
        return next(c for c, facts in self.channels.items() if facts.role == "reference")

    @property
    def item_channels(self) -> tuple[int, ...]:
        """Channels of the thermometers under test, in channel order."""
        return tuple(c for c, facts in self.channels.items() if facts.role in ITEM_ROLES)

    @property
    def head_channels(self) -> tuple[int, ...]:
        """Channels of head sensors."""
        return tuple(c for c, facts in self.channels.items() if facts.role == "head")
