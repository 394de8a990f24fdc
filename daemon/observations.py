"""What comes back from an action or from the watch, and how it is written down and read again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from drivers.quantities import Quality, Reading
from drivers.roles import SourceStatus


@dataclass(frozen=True, slots=True)
class Resistance:
    """A reading of one channel in ohm, or the reason why there is none."""

    when_s: float
    channel: int
    current_ma: float
    reading: Reading
    use: str = "scan"


@dataclass(frozen=True, slots=True)
class Source:
    """A look at the heat source."""

    when_s: float
    status: SourceStatus


@dataclass(frozen=True, slots=True)
class Done:
    """A command was carried out and confirmed by read-back, or a wait is over."""

    when_s: float


@dataclass(frozen=True, slots=True)
class Heard:
    """Whether the person who was asked has said that it is done."""

    when_s: float
    said: bool


@dataclass(frozen=True, slots=True)
class Failed:
    """An instrument did not do what was asked: `role` is "source", "bridge" or a monitor's.

    `reason` is a sentence; `error` names the kind of failure, as the drivers call it.
    """

    when_s: float
    role: str
    reason: str
    error: str = ""


@dataclass(frozen=True, slots=True)
class Machine:
    """How the computer itself is doing.

    `late_s`: how late the watch came at worst since the last report; `asleep_s`: how long the machine slept;
    `wall_step_s`: how far the wall clock moved against the monotonic one; `free_mib`: room for the record,
    None when nobody looked; `storage`: why the record cannot be written, empty when it can; `on_battery`: it
    runs on its battery, None where nothing tells; `charge_percent`: of that battery; `commit_s`: how long the
    slowest commit of the record took since the last report, also one still under way, None when nothing waits
    for a disk.
    """

    when_s: float
    late_s: float = 0.0
    asleep_s: float = 0.0
    wall_step_s: float = 0.0
    free_mib: float | None = None
    storage: str = ""
    on_battery: bool | None = None
    charge_percent: float | None = None
    commit_s: float | None = None


@dataclass(frozen=True, slots=True)
class Monitored:
    """A look at an instrument beside the heat source: `role` is readout, ambient or interlocks.

    `readings` are numbers with their units, `states` what is on or off, both by the profile's names.
    """

    when_s: float
    role: str
    readings: Mapping[str, Reading]
    states: Mapping[str, bool]


Observation = Resistance | Source | Done | Heard | Failed | Machine | Monitored


def to_body(observation: Observation) -> dict[str, Any]:
    """The observation as it is written into the journal."""
    match observation:
        case Resistance(when_s, channel, current_ma, reading, use):
            body = {"what": "resistance", "at": when_s, "channel": channel, "current_ma": current_ma}
            return body | {"use": use} | _reading(reading)
        case Source(when_s, status):
            return {"what": "source", "at": when_s} | _status(status)
        case Failed(when_s, role, reason, error):
            return {"what": "failed", "at": when_s, "role": role, "reason": reason, "error": error}
        case Machine():
            return {"what": "machine", "at": observation.when_s} | _machine(observation)
        case Heard(when_s, said):
            return {"what": "heard", "at": when_s, "said": said}
        case Monitored(when_s, role, readings, states):
            shown = {name: {"unit": r.unit} | _reading(r) for name, r in readings.items()}
            return {
                "what": "monitored",
                "at": when_s,
                "role": role,
                "readings": shown,
                "states": dict(states),
            }
        case Done(when_s):
            return {"what": "done", "at": when_s}


def from_body(body: Mapping[str, Any]) -> Observation:
    """The observation that `to_body` wrote; raises KeyError, ValueError on a foreign body."""
    when_s = float(body["at"])
    match body["what"]:
        case "resistance":
            reading = _to_reading(body, "ohm")
            return Resistance(when_s, body["channel"], body["current_ma"], reading, body["use"])
        case "source":
            return Source(when_s, _to_status(body, when_s))
        case "failed":
            return Failed(when_s, body["role"], body["reason"], body["error"])
        case "machine":
            return Machine(when_s, **{name: body[name] for name in _MACHINE if name in body})
        case "monitored":
            shown = {name: _to_reading(told, told["unit"]) for name, told in body["readings"].items()}
            return Monitored(when_s, body["role"], shown, body["states"])
        case "done":
            return Done(when_s)
        case "heard":
            return Heard(when_s, body["said"])
        case other:
            raise ValueError(f"unknown observation {other!r}")


_MACHINE = (
    "late_s",
    "asleep_s",
    "wall_step_s",
    "free_mib",
    "storage",
    "on_battery",
    "charge_percent",
    "commit_s",
)


def _machine(machine: Machine) -> dict[str, Any]:
    return {name: getattr(machine, name) for name in _MACHINE}


def _reading(reading: Reading) -> dict[str, Any]:
    body: dict[str, Any] = {"value": reading.value, "taken": reading.when_s, "raw": reading.raw}
    if not reading.fresh:
        body |= {"quality": str(reading.quality), "reason": reading.reason}
    return body


def _to_reading(body: Mapping[str, Any], unit: str) -> Reading:
    quality = Quality(body.get("quality", Quality.FRESH))
    return Reading(body["value"], unit, body["taken"], quality, body["raw"], body.get("reason", ""))


def _status(status: SourceStatus) -> dict[str, Any]:
    return {
        "temperature_c": status.temperature.value,
        "set_point_c": status.set_point.value,
        "output_percent": status.output_percent,
        "heater_on": status.heater_on,
        "over_temperature": status.over_temperature,
        "stirrer_on": status.stirrer_on,
        "level_low": status.level_low,
        "reason": status.temperature.reason or status.set_point.reason,
        "raw": status.raw,
    }


def _to_status(body: Mapping[str, Any], when_s: float) -> SourceStatus:
    def reading(value: float | None) -> Reading:
        quality = Quality.ABSENT if value is None else Quality.FRESH
        return Reading(value, "degC", when_s, quality, "", body["reason"] if value is None else "")

    return SourceStatus(
        when_s,
        reading(body["temperature_c"]),
        reading(body["set_point_c"]),
        body["output_percent"],
        body["heater_on"],
        body["over_temperature"],
        body["stirrer_on"],
        body["level_low"],
        body["raw"],
    )
