"""What each instrument of a recorded night answered, and when: the transcript behind its observations."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from daemon.journal.entry import Entry, Kind
from daemon.journal.read import read_entries
from daemon.replay.far_text import Shown

_STILL_ANSWERING = frozenset(
    {"Refused", "NotConfirmed", "OutsideLimits", "BadProfile", "WrongIdentity", "Restarted"}
)
"""Kinds of failure after which an instrument is not silent."""

_OF_A_LOOK = {"temperature": "temperature_c", "set_point": "set_point_c", "output": "output_percent"}
_OF_A_LOOK |= {"heater": "heater_on", "stirrer": "stirrer_on"}

Key = tuple[float, float]
"""Channel and current in mA of a bridge's reading; zeros for any other instrument."""
NO_KEY: Key = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer, `when_s` after the record was opened; `raw` joins the fields' texts, where it is known.

    A failure has neither: the instrument gave no answer that could be used.
    """

    when_s: float
    fields: Mapping[str, Shown] = field(default_factory=dict)
    raw: str = ""

    @property
    def failed(self) -> bool:
        """True when nothing usable came."""
        return not (self.fields or self.raw)


@dataclass
class Answers:
    """Of one instrument: by key and in order, who it said it was, and when it started anew.

    `silence`: what was found of a heat source's own reaction to silence, s and °C; never, where nobody asked.
    """

    identity: str = ""
    by_key: dict[Key, list[Answer]] = field(default_factory=dict)
    restarts_s: list[float] = field(default_factory=list)
    silence: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Transcript:
    """All instruments of a night by the name of their role; it lasted `ends_s`."""

    answers: Mapping[str, Answers]
    ends_s: float


def read_transcript(record: Path) -> Transcript:
    """Read a whole record; raises RecordError."""
    return _transcript(read_entries(record))


def _transcript(entries: Iterable[Entry]) -> Transcript:
    answers: dict[str, Answers] = {}
    opened_s: float | None = None
    ends_s = 0.0
    for entry in entries:
        opened_s = entry.utc_s if opened_s is None else opened_s
        if entry.kind == Kind.REVIEW:
            break
        ends_s = entry.utc_s - opened_s
        if entry.kind == Kind.MILESTONE and entry.body["mark"] == "identified":
            for role, identity in entry.body.items():
                if role not in ("mark", "by"):
                    answers[role] = Answers(identity)
        elif entry.kind == Kind.MILESTONE and entry.body["mark"] == "lease":
            answers["source"].silence = entry.body["found_s"], entry.body["found_c"]
        elif entry.kind == Kind.OBSERVATION:
            # By the wall clock: the monotonic one starts anew when a run was resumed after a power cut.
            at_s = ends_s - (entry.when_s - entry.body.get("taken", entry.body["at"]))
            _take(answers, entry.body, at_s)
    for series in (series for role in answers.values() for series in role.by_key.values()):
        series.sort(key=lambda answer: answer.when_s)  # a failure is written later than it was
    return Transcript(answers, ends_s)


def _take(answers: dict[str, Answers], body: Mapping[str, Any], at_s: float) -> None:
    match body["what"]:
        case "resistance" if body["raw"]:
            key = float(body["channel"]), float(body["current_ma"])
            fields: dict[str, Shown] = {"channel": key[0], "current": key[1], "resistance": body["raw"]}
            _add(answers, "bridge", key, Answer(at_s, fields))
        case "source":
            told = {name: body.get(_OF_A_LOOK.get(name, name)) for name in _LOOKED_AT}
            looked = {name: value for name, value in told.items() if value is not None}
            _add(answers, "source", NO_KEY, Answer(at_s, looked, body["raw"]))
        case "monitored":
            raws = {name: reading["raw"] for name, reading in body["readings"].items()}
            _add(answers, body["role"], NO_KEY, Answer(at_s, raws | dict(body["states"])))
        case "failed" if body["role"] in answers:
            _failed(answers[body["role"]], body["error"], at_s)


_LOOKED_AT = (*_OF_A_LOOK, "over_temperature", "level_low")


def _add(answers: dict[str, Answers], role: str, key: Key, answer: Answer) -> None:
    answers.setdefault(role, Answers()).by_key.setdefault(key, []).append(answer)


def _failed(answers: Answers, error: str, at_s: float) -> None:
    if error == "Restarted":
        answers.restarts_s.append(at_s)
    if error not in _STILL_ANSWERING:
        for series in answers.by_key.values():
            series.append(Answer(at_s))
