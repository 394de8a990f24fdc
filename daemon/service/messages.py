"""What is said to the daemon over HTTP and what it answers; the OpenAPI description is made from these."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Words = Annotated[str, Field(max_length=200, pattern=r"^[^\x00-\x1f\x7f]*$")]
Person = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]*[^\x00-\x20\x7f]$")]


class Message(BaseModel):
    """Strict: unknown keys and wrong types are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class Submission(Message):
    """A plan of the plans folder, by its name without .toml."""

    plan: Annotated[str, Field(min_length=1, max_length=64)]
    who: Person


class Word(Message):
    """Who speaks, and why."""

    who: Person
    reason: Words = ""


class Withdrawal(Message):
    """A run that shall not wait any longer, by its number."""

    number: Annotated[int, Field(ge=1, le=10**9)]
    who: Person


class Confirmed(Message):
    """One item of the arming checklist, confirmed by a person who has looked at the bench."""

    key: Annotated[str, Field(min_length=1, max_length=40)]
    who: Person


class Waiting(Message):
    """A run in the queue."""

    number: int
    plan: str
    title: str
    who: str
    submitted_utc: str


class ChecklistItem(Message):
    """One thing to look at before heat."""

    key: str
    sentence: str
    caution: str
    confirmed: bool


class ChannelNow(Message):
    """The newest temperature of one place; of the last 15 min the extremes of every 75 s, oldest first."""

    name: str
    role: str
    temperature_c: float | None
    recent_c: list[float]


class RunNow(Message):
    """The run that is on its way, or the last one. Times in s since it was opened."""

    record: str
    title: str
    state: str
    cause: str
    point: str
    elapsed_s: float
    estimated_end_s: float | None
    quiet_s: float
    set_point_c: float | None
    channels: list[ChannelNow]


class BenchNow(Message):
    """A bench. `calls` says why a person is called; empty when nobody is."""

    id: str
    name: str
    simulated: bool
    standing: str
    sentence: str
    calls: str
    run: RunNow | None
    queue: list[Waiting]
    checklist: list[ChecklistItem]


class LabNow(Message):
    """The lab."""

    lab: str
    utc: str
    benches: list[BenchNow]


class Effect(Message):
    """Whether a word had an effect, in words too."""

    effect: bool
    sentence: str


class Refusal(Message):
    """Why nothing was done; `problems` is what to put right."""

    refused: str
    problems: list[str] = []
