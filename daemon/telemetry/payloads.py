"""What each message says: one model a topic, from which its JSON schema is made.

Every message has `seq` and `t`. A message may arrive twice, since an unconfirmed one is sent again: a
reader drops, topic by topic, whatever does not have a higher `seq` than the newest of the same `run`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Utc = Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$")]
"""UTC as in ISO 8601, to the millisecond."""


class Payload(BaseModel):
    """What all messages have in common."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    seq: Annotated[
        int, Field(ge=1, description="number of the entry in the run's record, or of the connection")
    ]
    t: Annotated[Utc, Field(description="UTC at which it happened; a reader judges by it what is stale")]


class Status(Payload):
    """Whether the daemon of this bench is there. As a will, `t` is when the connection was made."""

    status: Literal["online", "offline"]
    reason: str


class OfRun(Payload):
    """A message about a run; `run` is the UTC at which the run was opened and names it."""

    run: Utc | Literal[""]


class ChannelName(BaseModel):
    """Which thermometer is on which channel."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    channel: int
    serial: str
    role: str


class PlannedPoint(BaseModel):
    """One temperature of the plan, in the order in which they are visited."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    index: int
    stage: str
    label: str
    temperature_c: float


class RunState(OfRun):
    """The run and where it stands."""

    state: str
    cause: str
    title: str
    bench: str
    simulated: bool
    channels: tuple[ChannelName, ...]
    points: tuple[PlannedPoint, ...]


class SourceLook(OfRun):
    """A look at the heat source; null where it does not say."""

    temperature_c: float | None
    set_point_c: float | None
    output_percent: float | None
    heater_on: bool | None
    over_temperature: bool | None
    stirrer_on: bool | None
    level_low: bool | None
    reason: str


class ChannelReading(OfRun):
    """A reading of one thermometer. `temperature_c` is for watching, not a result."""

    channel: int
    serial: str
    role: str
    resistance_ohm: float | None
    temperature_c: float | None
    current_ma: float
    use: str
    quality: Literal["fresh", "stale", "absent"]
    reason: str


class Fault(OfRun):
    """The newest failure of an instrument: `role` is "source" or "bridge"."""

    role: str
    reason: str


class PointProgress(OfRun):
    """How far one temperature of the plan has come."""

    index: int
    phase: str
    stage: str
    label: str
    temperature_c: float | None
    details: dict[str, Any]


class GuardVerdict(OfRun):
    """A guard's verdict (`standing` true), or that its cause has gone (`standing` false)."""

    guard: str
    channel: int
    standing: bool
    reaction: str
    sentence: str
    value: float | None
    limit: float | None
    unit: str
    latched: bool


class Event(OfRun):
    """Everything else that happened, as it stands in the record."""

    kind: str
    what: str
    details: dict[str, Any]


class Results(OfRun):
    """How the run ended; `good` is true when the plan was done to its end. Figures are in the report."""

    outcome: str
    good: bool
    entries: int
