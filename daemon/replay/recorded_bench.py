"""A recorded night's instruments as far ends, for sockets and pseudo-terminals or to be asked in memory."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from daemon.journal.read import RecordError
from daemon.replay.changed import recorded_plan
from daemon.replay.far_end import RecordedEnd, Side, Tell
from daemon.replay.far_registers import RegisterSide
from daemon.replay.far_text import TextSide
from daemon.replay.recorded_answers import Transcript, read_transcript
from daemon.results.numbers import duration
from drivers.registry import profile_with_tables
from drivers.wires.address import parse_address
from plans.run_plan import RunPlan


class RecordedBench:
    """The instruments of one record, each with what it answered that night.

    `carriers`: what will carry each instrument; on a pseudo-terminal (pty) Modbus has other frames.
    `from_s`: where in the night the serving begins, in s after the record was opened; `tell` hears of every
    question that gets no answer. Raises RecordError, PlanError, BadProfile; ValueError for a `from_s`
    outside the record.
    """

    def __init__(self, record: Path, tell: Tell, from_s: float = 0.0) -> None:
        self._record = record
        self.run: RunPlan = recorded_plan(record)
        self._transcript: Transcript = read_transcript(record)
        self.lasted_s = self._transcript.ends_s
        if not 0.0 <= from_s < self.lasted_s:
            raise ValueError(f"{record}: it lasted {duration(self.lasted_s)}; begin within that time.")
        self.from_s, self._tell = from_s, tell
        bench = self.run.bench
        if bench.scanner is not None or bench.bridge.resistor is not None:
            raise ValueError(
                f"{record}: a record does not hold what the scanner of its own answered; such a bench cannot "
                "be served from it."
            )
        self._places = {
            "source": (bench.heat_source.profile, bench.heat_source.address),
            "bridge": (bench.bridge.profile, bench.bridge.address),
            **{role: (monitor.profile, monitor.address) for role, monitor in bench.beside.items()},
        }
        self.carriers: Mapping[str, str] = {}

    @property
    def names(self) -> tuple[str, ...]:
        """The instruments of the bench: source, bridge, and those that stand beside."""
        return tuple(self._places)

    def instrument(self, name: str) -> RecordedEnd:
        """The far end of the wire to one of `names`; raises BadProfile, RecordError."""
        profile_name, address = self._places[name]
        if name not in self._transcript.answers:
            raise RecordError(
                f"{self._record}: it does not say who answered as {name}: it ends before the start"
            )
        unit_id = parse_address(address).unit_id
        profile, tables = profile_with_tables(profile_name, unit_id)
        if profile.protocol == "text":
            side: Side = TextSide(tables)
        else:
            link = tables["link"]
            serial = self.carriers.get(name) == "pty" or bool(link.get("rtu_over_tcp"))
            side = RegisterSide(tables, unit_id or link["unit_id"], serial)
        return RecordedEnd(
            name,
            profile,
            side,
            self._transcript.answers[name],
            from_s=self.from_s,
            ends_s=self._transcript.ends_s,
            tell=self._tell,
        )
