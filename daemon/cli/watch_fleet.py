"""What is known of all benches from what they say over MQTT, and which of them should be worried about."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from typing import Any

SILENT_S = 30.0
"""A run tells of itself every second; this is thirty times that. Common practice, no source."""

_ON_ITS_WAY = frozenset({"running", "holding", "parking", "cut"})
_CALLING = frozenset({"holding", "parking", "cut"})
BROKER = "broker"


@dataclass
class BenchSeen:
    """One bench; `heard_s` is the watcher's own clock at the last live message, temperatures in °C."""

    station: str
    bench: str
    status: str = "unknown"
    state: str = ""
    cause: str = ""
    title: str = ""
    point: str = ""
    temperature_c: float | None = None
    set_point_c: float | None = None
    verdict: str = ""
    acknowledged: bool = False
    heard_s: float = 0.0
    quiet_s: float = 0.0
    messages: int = 0
    calls: str = ""
    numbers: dict[str, tuple[str, int]] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Station and bench."""
        return f"{self.station}/{self.bench}"

    @property
    def on_its_way(self) -> bool:
        """Whether a run is under way, which tells of itself every second."""
        return self.state in _ON_ITS_WAY


class Fleet:
    """All benches that have spoken; `now_s` is the watcher's own monotonic clock throughout."""

    def __init__(self, now_s: float, silent_s: float = SILENT_S) -> None:
        self.benches: dict[str, BenchSeen] = {}
        self.connected = False
        self.problem = "not connected yet"
        self._silent_s = silent_s
        self._broker_since_s = now_s
        self._broker_calls = ""

    def broker(self, problem: str, now_s: float) -> None:
        """The broker is there (empty problem) or not."""
        if self.connected != (not problem):
            self._broker_since_s = now_s
        self.connected, self.problem = not problem, problem

    def take(self, topic: str, payload: bytes, now_s: float, *, retained: bool) -> None:
        """Take a message; anything that is not one of ours is passed over, as are repeats."""
        parts = topic.split("/", 3)
        body = _json(payload)
        if len(parts) != 4 or parts[0] != "ohmvigil" or body is None:
            return
        seen = self.benches.setdefault(f"{parts[1]}/{parts[2]}", BenchSeen(parts[1], parts[2], heard_s=now_s))
        if not _newer(seen, parts[3], body):
            return
        seen.messages += 1
        if not retained:
            seen.heard_s = now_s
        _note(seen, parts[3], body)

    def look(self, now_s: float) -> None:
        """Judge every bench by the watcher's own clock."""
        gone_s = now_s - self._broker_since_s
        lost = not self.connected and gone_s > self._silent_s
        self._broker_calls = f"no broker for {self._silent_s:.0f} s or longer" if lost else ""
        for seen in self.benches.values():
            seen.quiet_s = now_s - seen.heard_s
            seen.calls = "" if not self.connected else self._judged(seen)

    def causes(self) -> dict[str, str]:
        """Why each bench calls, empty for those that do not; the broker counts as one of them."""
        return {BROKER: self._broker_calls} | {name: one.calls for name, one in self.benches.items()}

    def calling(self) -> bool:
        """Whether anything calls for a person."""
        return any(self.causes().values())

    def ordered(self) -> list[BenchSeen]:
        """Those that call first, then by name."""
        return sorted(self.benches.values(), key=lambda one: (not one.calls, one.name))

    def told(self) -> dict[str, Any]:
        """As plain data."""
        benches = [asdict(one) for one in self.ordered()]
        for one in benches:
            del one["numbers"]
        return {"connected": self.connected, "problem": self.problem, "benches": benches}

    def lines(self) -> list[str]:
        """A line a bench, in words."""
        lines = [f"{one.name}: {one.state or one.status} {one.point} {one.calls}" for one in self.ordered()]
        return lines or [self.problem or "no bench has said anything"]

    def _judged(self, seen: BenchSeen) -> str:
        if not seen.on_its_way:
            return ""
        if seen.status == "offline":
            return f"{seen.name}: the daemon has gone in the middle of a run"
        if seen.quiet_s > self._silent_s:
            return f"{seen.name}: nothing heard of a run for {self._silent_s:.0f} s or longer"
        if seen.state in _CALLING and not seen.acknowledged:
            return f"{seen.name} is {seen.state}: {seen.cause}"
        return ""


def _newer(seen: BenchSeen, topic: str, body: dict[str, Any]) -> bool:
    """Whether this is no repeat: topic by topic the number must grow within a run."""
    if topic == "event" and body.get("what") == "opened":
        seen.numbers.clear()  # a simulated night begins at the same time of its own each time
    run, number = str(body.get("run", "")), body["seq"]
    before = seen.numbers.get(topic)
    if before is not None and before[0] == run and number <= before[1] and topic != "status":
        return False
    seen.numbers[topic] = (run, number)
    return True


def _note(seen: BenchSeen, topic: str, body: dict[str, Any]) -> None:
    match topic.split("/"):
        case ["status"]:
            seen.status = str(body.get("status", "unknown"))
        case ["run"]:
            seen.state, seen.cause = str(body.get("state", "")), str(body.get("cause", ""))
            seen.title, seen.acknowledged = str(body.get("title", "")), False
        case ["source"]:
            seen.temperature_c, seen.set_point_c = (
                _number(body, "temperature_c"),
                _number(body, "set_point_c"),
            )
        case ["point", _]:
            celsius = _number(body, "temperature_c")
            seen.point = ("" if celsius is None else f"{celsius:g} °C, ") + str(body.get("phase", ""))
        case ["verdict"]:
            seen.verdict = str(body.get("sentence", "")) if body.get("standing") else ""
        case ["event"] if body.get("what") == "opened":
            seen.point = seen.verdict = ""
        case ["event"] if body.get("what") == "acknowledge":
            seen.acknowledged = True
        case ["results"]:
            seen.state = str(body.get("outcome", ""))


_LARGEST = 1e6


def _number(body: dict[str, Any], key: str) -> float | None:
    value = body.get(key)
    known = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= _LARGEST
    return float(value) if known else None  # type: ignore[arg-type]


def _json(payload: bytes) -> dict[str, Any] | None:
    try:
        body = json.loads(payload)
    except (ValueError, RecursionError):
        return None
    return body if isinstance(body, dict) and isinstance(body.get("seq"), int) else None
