"""The live view of a run in the terminal: a bar in the night's hours, events and verdicts as they come."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from types import TracebackType
from typing import IO, Any, cast

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

from daemon.cli.say import hours
from daemon.journal.entry import Entry, Kind
from daemon.results.phases import Phases
from daemon.timetable import Timetable
from daemon.web.progress import delay_s

_REDRAW_S = 0.1
_SAID = {
    "point_started": "{label}: going to {temperature_c:g} °C",
    "arrived": "arrived at {temperature_c:g} °C, waiting for equilibrium",
    "settled": "equilibrium reached, soaking",
    "unsettled": "equilibrium lost, waiting again",
    "sequence_started": "{label}: reading",
    "point_finished": "{label}: done",
    "point_skipped": "{label}: skipped, {reason}",
    "item_left_out": "{name} is left out: {reason}",
    "starting_over": "this point is soaked and read again: {reason}",
    "parking": "parking from {from_c:.1f} °C to {to_c:.0f} °C",
    "heater_off": "heater off at {temperature_c:.1f} °C",
    "run_ended_early": "the run ends early: {reason}",
    "what_is_safe": "WHAT IS SAFE  {sentence}",
    "not_protected": "{sentence}",
    "anneal_before_use": "{sentence}",
    "alarm": "CALLING FOR A PERSON, time {times}: {cause}",
}
_CALLS_EACH, _CALLS_HOURLY = 3, 6
"""The first calls are shown one by one, later ones once an hour: they come every ten minutes."""


class _Screen:
    """Standard error; once it is gone (a closed terminal, an ended pipe) the night goes on unseen."""

    def __init__(self, file: IO[str]) -> None:
        self._file = file
        self._gone = False

    def write(self, text: str) -> int:
        self._try(lambda: self._file.write(text))
        return len(text)

    def flush(self) -> None:
        self._try(self._file.flush)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)

    def _try(self, act: Callable[[], object]) -> None:
        if not self._gone:
            try:
                act()
            except OSError:
                self._gone = True


class LiveView:
    """Listens to the journal and shows where the night is; prints events as plain lines."""

    def __init__(self, timetable: Timetable, *, begun_utc_s: float | None = None, quiet: bool) -> None:
        """`begun_utc_s`: when the record was opened; the first entry heard opens it when None."""
        self.timetable = timetable
        self.phases = Phases()
        self.now_s = 0.0
        self._begun_utc_s = begun_utc_s
        self._console = Console(file=cast("IO[str]", _Screen(sys.stderr)), highlight=False)
        self._quiet = quiet
        self._drawn_s = 0.0
        self._progress = Progress(
            TextColumn("{task.description}"),
            BarColumn(bar_width=30),
            TaskProgressColumn(),
            TextColumn("{task.fields[where]}"),
            console=self._console,
            transient=True,
            disable=quiet or not self._console.is_terminal,
        )
        self._task = self._progress.add_task("night", total=timetable.total_s, where="")

    def __enter__(self) -> LiveView:
        self._progress.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._progress.stop()

    def __call__(self, entry: Entry) -> None:
        """Take note of a journal entry."""
        if self._begun_utc_s is None:
            self._begun_utc_s = entry.utc_s
        self.now_s = entry.utc_s - self._begun_utc_s
        if entry.kind in (Kind.MILESTONE, Kind.STATE):
            self.phases.take(entry, self.now_s)
        if entry.kind == Kind.ACTION and entry.body["do"] == "ask_person":
            self._line(f"{entry.utc:%H:%M}  YOUR TURN  {entry.body['request']}")
        elif entry.kind in (Kind.OBSERVATION, Kind.ACTION):
            self._advance()
        elif not self._quiet:
            self._say(entry)

    @property
    def end_s(self) -> float:
        """Probable length of the night: as forecast, and as late as it has become."""
        return max(self.timetable.total_s + delay_s(self), self.now_s)

    def _advance(self) -> None:
        now_s = time.monotonic()
        if now_s - self._drawn_s < _REDRAW_S:
            return
        self._drawn_s = now_s
        end_s = self.end_s
        where = f"{hours(self.now_s)} of about {hours(end_s)}, {hours(end_s - self.now_s)} to go"
        self._progress.update(self._task, completed=self.now_s, total=end_s, where=where)

    def _say(self, entry: Entry) -> None:
        body = entry.body
        stamp = f"{entry.utc:%H:%M}"
        match entry.kind:
            case Kind.MILESTONE if body["mark"] == "alarm" and not _is_shown(body["times"]):
                return
            case Kind.MILESTONE if body["mark"] in _SAID:
                self._line(f"{stamp}  {_SAID[body['mark']].format(**body)}")
            case Kind.VERDICT:
                self._line(f"{stamp}  {body['reaction'].upper()}  {body['guard']}: {body['sentence']}")
            case Kind.STATE:
                self._line(f"{stamp}  now {body['to']}: {body['cause']}")
            case Kind.CLEARED:
                self._line(f"{stamp}  cleared by itself: {body['guard']}")

    def _line(self, text: str) -> None:
        self._console.print(text, markup=False, soft_wrap=not self._console.is_terminal)


def _is_shown(times: int) -> bool:
    return times <= _CALLS_EACH or times % _CALLS_HOURLY == 0
