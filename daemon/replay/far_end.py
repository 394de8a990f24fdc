"""An instrument of a recorded night: answers whoever asks as it answered then.

A question is answered with what came next that night, at its very instant, when that came soon enough to be
its answer; else with what had come last. What was not asked that night gets silence, as does what failed
then, and whoever asks behind the record's end; each is told once.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from daemon.replay.far_text import Asked, Shown
from daemon.replay.recorded_answers import NO_KEY, Answer, Answers, Key
from drivers.errors import BadProfile
from drivers.instrument import UPTIME
from drivers.profile_model import Profile, Question
from drivers.profile_rules import MONITORED

Tell = Callable[[float, str, str], None]
"""Is told when in s of the night, which instrument, and what about it."""

_QUICK_S = 0.02
_SOON_ENOUGH = 0.8
_NOT_TOO_SOON = 1.05
_FIELDS = {"channel", "current"}


class Side(Protocol):
    """The instrument's side of a profile."""

    def names(self, asked: Asked) -> list[str]: ...
    def requests(self, data: bytes) -> list[tuple[bytes, bytes]]: ...
    def question(self, body: bytes) -> Asked | None: ...
    def answer(self, asked: Asked, body: bytes, shown: Mapping[str, Shown], envelope: bytes) -> bytes: ...
    def command(self, body: bytes) -> tuple[str, float] | None: ...
    def accepted(self, name: str, body: bytes, envelope: bytes) -> bytes: ...


@dataclass(frozen=True, slots=True)
class _Written:
    """A value written by whoever asks now, and what the record showed there at that moment."""

    value: Shown
    beside: Shown | None


class RecordedEnd:
    """The far end of one instrument's wire; times in s after the record was opened.

    `from_s`: where in the night the serving begins; `ends_s`: where it ends. Raises BadProfile when the
    recorded identity is not of this profile.
    """

    def __init__(
        self,
        name: str,
        profile: Profile,
        side: Side,
        answers: Answers,
        *,
        from_s: float,
        ends_s: float,
        tell: Tell,
    ) -> None:
        self._name, self._profile, self._side, self._answers = name, profile, side, answers
        self._from_s, self._ends_s, self._tell = from_s, ends_s, tell
        self._identity = _identity(answers.identity, profile, side.names(("identity", "")))
        main = {"heat-source": "status", "bridge": "resistance"}.get(profile.role)
        self._main = main or MONITORED[profile.role][0]
        self._times = {key: [one.when_s for one in series] for key, series in answers.by_key.items()}
        self._selected = dict(zip(_SELECTED, next(iter(answers.by_key), NO_KEY), strict=True))
        self._written: dict[tuple[str, str], _Written] = {}
        self._told: set[str] = set()
        if (loss := profile.communication_loss) is not None:
            for command, found in zip((loss.time, loss.set_point), answers.silence, strict=True):
                self._take(command, found, from_s)

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        """Take bytes at `now_s` of the serving; replies as (delay in s, bytes)."""
        at_s = self._from_s + now_s
        replies = [self._reply(body, envelope, at_s) for body, envelope in self._side.requests(data)]
        return [reply for reply in replies if reply is not None and reply[1]]

    def _reply(self, body: bytes, envelope: bytes, at_s: float) -> tuple[float, bytes] | None:
        if at_s > self._ends_s:
            self._silent(at_s, "the record ends here: no answer any more")
            return None
        if (command := self._side.command(body)) is not None:
            self._take(*command, at_s)
            return _QUICK_S, self._side.accepted(command[0], body, envelope)
        asked = self._side.question(body)
        if asked is None:
            self._silent(at_s, f"{body!r} is no question of {self._profile.id}: no answer")
            return None
        if asked[0] != "read":
            return _QUICK_S, self._side.answer(asked, body, self._identity, envelope)
        question = self._profile.questions[asked[1]]
        found = self._found(question, at_s) if question.name == self._main else self._beside(question, at_s)
        if found is None:
            return None
        delay_s, shown = found
        return delay_s, self._side.answer(asked, body, shown, envelope)

    def _found(self, question: Question, at_s: float) -> tuple[float, Mapping[str, Shown]] | None:
        """Delay in s, and what the instrument showed that night."""
        key: Key = NO_KEY
        if self._profile.role == "bridge":
            key = self._selected["channel"], self._selected["current"]
        series, times = self._answers.by_key.get(key, []), self._times.get(key, [])
        following = bisect_right(times, at_s + _NOT_TOO_SOON * question.earliest_s)
        soon = following < len(series) and times[following] <= at_s + _SOON_ENOUGH * question.within_s
        if not soon and not following:
            what = f"channel {key[0]:g} at {key[1]:g} mA" if key != NO_KEY else "this"
            self._silent(at_s, f"{what} had not been asked so far that night: no answer")
            return None
        answer = series[following if soon else following - 1]
        if answer.failed:
            self._silent(at_s, "gave no answer that night either")
            return None
        delay_s = answer.when_s - at_s if soon else self._usual_s(question)
        return delay_s, self._as_written(question, self._shown(question, answer))

    def _usual_s(self, question: Question) -> float:
        """How long an answer takes that is not timed by the record."""
        bridge = self._profile.bridge
        conversion_s = bridge.integration_s if bridge is not None else 0.0
        usual_s = max(_QUICK_S, conversion_s, _NOT_TOO_SOON * question.earliest_s)
        return min(usual_s, _SOON_ENOUGH * question.within_s)

    def _beside(self, question: Question, at_s: float) -> tuple[float, Mapping[str, Shown]] | None:
        """A question that is never recorded: the time since the start, and what was written."""
        if question.name == UPTIME:
            since_s = max((s for s in self._answers.restarts_s if s <= at_s), default=0.0)
            return _QUICK_S, {UPTIME: at_s - since_s}
        shown: dict[str, Shown] = {
            **dict.fromkeys(question.units, 0.0),
            **dict.fromkeys(question.flags, False),
        }
        written = {field for name, field in self._written if name == question.name}
        if not written:
            self._silent(at_s, f"{question.name} was not recorded: no answer before it is written")
            return None
        return _QUICK_S, shown | {field: self._written[question.name, field].value for field in written}

    def _shown(self, question: Question, answer: Answer) -> Mapping[str, Shown]:
        """Every field of the question: as it came where that is known, else by its value."""
        names = self._side.names(("read", question.name))
        texts = answer.raw.split(",")
        if answer.raw and len(texts) == len(names):
            pairs = zip(names, texts, strict=True)
            return {name: text == "1" if name in question.flags else text for name, text in pairs}
        blank: dict[str, Shown] = {name: False if name in question.flags else 0.0 for name in names}
        return blank | {name: shown for name, shown in answer.fields.items() if name in blank}

    def _as_written(self, question: Question, shown: Mapping[str, Shown]) -> Mapping[str, Shown]:
        """A written value is read back until the record shows that field moving."""
        seen = dict(shown)
        for (name, field), written in list(self._written.items()):
            if name != question.name:
                continue
            if written.beside is not None and written.beside != shown[field]:
                del self._written[name, field]
            else:
                seen[field] = written.value
        return seen

    def _take(self, name: str, value: float, at_s: float) -> None:
        if name in _FIELDS and self._profile.role == "bridge":
            self._selected[name] = value
        command = self._profile.commands[name]
        if command.verify is not None:
            verify = command.verify
            beside = self._stands(verify.question, verify.field, at_s)
            shown: Shown = bool(value) if command.switch else value
            self._written[verify.question, verify.field] = _Written(shown, beside)

    def _stands(self, name: str, field: str, at_s: float) -> Shown | None:
        """What the record shows there now; None when it says nothing of it."""
        series = [one for one in self._answers.by_key.get(NO_KEY, []) if not one.failed]
        if name != self._main or not series:
            return None
        newest = max(0, bisect_right([one.when_s for one in series], at_s) - 1)
        return self._shown(self._profile.questions[name], series[newest]).get(field)

    def _silent(self, at_s: float, why: str) -> None:
        """No answer; the reason is told once."""
        if why not in self._told:
            self._told.add(why)
            self._tell(at_s, self._name, why)


_SELECTED = ("channel", "current")


def _identity(text: str, profile: Profile, names: list[str]) -> Mapping[str, Shown]:
    """The parts of who answered that night."""
    pattern = ", ".join(f"{re.escape(name)} (?P<{name}>.*)" for name in names)
    found = re.fullmatch(pattern, text)
    if found is None:
        raise BadProfile(f"{profile.id}: the recorded identity {text!r} is not made of {', '.join(names)}")
    if profile.protocol == "modbus":
        return {name: float(part) for name, part in found.groupdict().items()}
    return found.groupdict()
