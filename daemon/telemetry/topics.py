"""The topic tree `ohmvigil/<station>/<bench>/…`, and the JSON schema of each topic.

All of it is told; what little can be said, and only where a lab file allows it, stands in `command.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from daemon.telemetry import payloads
from daemon.telemetry.payloads import Payload


@dataclass(frozen=True, slots=True)
class Message:
    """One message to the broker. A `live` one is worth nothing once there is a newer one of its topic."""

    topic: str
    payload: str
    qos: int = 1
    retain: bool = False
    live: bool = False


@dataclass(frozen=True, slots=True)
class Topic:
    """One topic of the tree; `<n>` in its name stands for a number."""

    name: str
    model: type[Payload]
    retain: bool = False
    live: bool = False

    @property
    def about(self) -> str:
        """What its messages say, in words."""
        return (self.model.__doc__ or "").strip()

    @property
    def qos(self) -> int:
        """MQTT's quality of service: 1, confirmed, for all but live readings."""
        return 0 if self.live else 1

    def message(self, base: str, payload: Payload, number: int | str = "") -> Message:
        """The payload as a message under `base`."""
        topic = f"{base}/{self.name.replace('<n>', str(number)).replace('<role>', str(number))}"
        return Message(topic, payload.model_dump_json(), self.qos, self.retain, self.live)


STATUS = Topic("status", payloads.Status, retain=True)
RUN = Topic("run", payloads.RunState, retain=True)
SOURCE = Topic("source", payloads.SourceLook, live=True)
CHANNEL = Topic("channel/<n>", payloads.ChannelReading, live=True)
FAULT = Topic("fault/<role>", payloads.Fault, live=True)
POINT = Topic("point/<n>", payloads.PointProgress, retain=True)
VERDICT = Topic("verdict", payloads.GuardVerdict)
EVENT = Topic("event", payloads.Event)
RESULTS = Topic("results", payloads.Results, retain=True)

TREE = (STATUS, RUN, SOURCE, CHANNEL, FAULT, POINT, VERDICT, EVENT, RESULTS)


def schemas() -> dict[str, dict[str, Any]]:
    """JSON schema (draft 2020-12) of each topic by its name in the tree."""
    dialect = {"$schema": "https://json-schema.org/draft/2020-12/schema"}
    return {topic.name: dialect | topic.model.model_json_schema() for topic in TREE}
