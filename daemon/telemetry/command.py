"""Hold and halt from afar, where the lab file allows them: the only words that are ever taken by MQTT.

Neither adds heat. A word that a broker kept, or that is old, was said of another moment and is passed over.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from daemon.telemetry.payloads import Utc

TOPIC = "command"
LATEST_S = 30.0
"""Clocks of two computers differ by less, and nobody means a word for later. Common practice, no source."""

_LARGEST = 2048
Hear = Callable[[str, str, str], None]
"""Given word, who and why, from the telemetry thread."""


class Command(BaseModel):
    """Park the source (halt), or stay where it is and add no heat (hold)."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    t: Annotated[Utc, Field(description=f"UTC now; a word older than {LATEST_S:.0f} s is passed over")]
    word: Literal["hold", "halt"]
    who: Annotated[
        str, Field(min_length=1, max_length=60, pattern=r"^[^\x00-\x1f\x7f]*$", description="who says it")
    ]
    reason: Annotated[
        str, Field(max_length=200, pattern=r"^[^\x00-\x1f\x7f]*$", description="why, for the record")
    ] = ""


class NoCommand(Exception):
    """Nothing that may be done; the message says why."""


def command_of(payload: bytes, now_utc_s: float, *, retained: bool) -> Command:
    """What a message says; raises NoCommand."""
    if retained:
        raise NoCommand("the broker had kept it")
    try:
        command = Command.model_validate_json(payload[: _LARGEST + 1])
    except ValidationError as error:
        raise NoCommand(
            f"it is neither a hold nor a halt as described ({error.error_count()} faults)"
        ) from None
    age_s = now_utc_s - datetime.fromisoformat(command.t).timestamp()
    if not abs(age_s) <= LATEST_S:
        raise NoCommand(f"its time is {age_s:.0f} s from now, and {LATEST_S:.0f} s is the most")
    return command
