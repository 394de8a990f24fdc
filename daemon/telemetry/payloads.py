"""What each message says: one model a topic, from which its JSON schema is made.

Every message has `seq` and `t`. A message may arrive twice, since an unconfirmed one is sent again: a
reader drops, topic by topic, whatever does not have a higher `seq` than the newest of the same `run`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from daemon.states import State

UTC_PATTERN = r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$"
Utc = Annotated[str, Field(pattern=UTC_PATTERN)]
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
    reason: Annotated[str, Field(description="why: connected, left, connection lost")]


class OfRun(Payload):
    """A message about a run."""

    run: Annotated[Utc | Literal[""], Field(description="UTC at which the run was opened; names it")]


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

    state: Annotated[str, Field(description=f"one of {', '.join(State)}")]
    cause: Annotated[str, Field(description="why it is in that state")]
    title: Annotated[str, Field(description="the plan's title")]
    bench: Annotated[str, Field(description="the bench's name")]
    simulated: Annotated[bool, Field(description="true: nothing of it can pass for a calibration")]
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
    reason: Annotated[str, Field(description="why something is null")]


class ChannelReading(OfRun):
    """A reading of one thermometer. `temperature_c` is for watching, not a result."""

    channel: int
    serial: Annotated[str, Field(description="the thermometer's serial number")]
    role: Annotated[str, Field(description="what the thermometer is for in this run: reference, item …")]
    resistance_ohm: float | None
    temperature_c: float | None
    current_ma: float
    use: Annotated[str, Field(description="what it was read for: scan, sequence …")]
    quality: Literal["fresh", "stale", "absent"]
    reason: Annotated[str, Field(description="why it is stale or absent")]


class Fault(OfRun):
    """The newest failure of an instrument: `role` is "source" or "bridge"."""

    role: str
    reason: str


class PointProgress(OfRun):
    """How far one temperature of the plan has come."""

    index: Annotated[int, Field(description="number of the point, from 1, as in `run`")]
    phase: Annotated[str, Field(description="what it is doing: approaching, arrived, settled, reading …")]
    stage: Annotated[str, Field(description="what it is for, such as point or return point")]
    label: str
    temperature_c: float | None
    details: Annotated[dict[str, Any], Field(description="figures of that moment, as in the record")]


class GuardVerdict(OfRun):
    """A guard's verdict (`standing` true), or that its cause has gone (`standing` false)."""

    guard: Annotated[str, Field(description="its name, as in the list of guards")]
    channel: Annotated[int, Field(description="the channel it judged; 0 for the heat source")]
    standing: bool
    reaction: Annotated[str, Field(description="mark, hold, park or cut; empty when its cause has gone")]
    sentence: str
    value: Annotated[float | None, Field(description="what was judged, in `unit`")]
    limit: Annotated[float | None, Field(description="what it was held against, in `unit`")]
    unit: str
    latched: Annotated[bool, Field(description="stands until a person acknowledges")]


class Event(OfRun):
    """Everything else that happened, as it stands in the record."""

    kind: Annotated[str, Field(description="kind of the entry in the record")]
    what: Annotated[str, Field(description="the state, action, milestone or word")]
    details: Annotated[dict[str, Any], Field(description="the rest of the entry")]


class Results(OfRun):
    """How the run ended; `good` is true when the plan was done to its end. Figures are in the report."""

    outcome: Annotated[str, Field(description="the state in which it ended")]
    good: bool
    entries: Annotated[int, Field(description="number of entries in the record")]
