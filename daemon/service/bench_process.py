"""One bench's run in a process of its own: what breaks here breaks no other bench.

Reads an order and then operator's words from standard input; when that ends, the daemon is gone, and the
run is halted: nobody could hold or release it any more. Answers stand on standard output as JSON lines.
"""

from __future__ import annotations

import asyncio
import fcntl
import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path

from daemon.computer import computer_problem
from daemon.guardian.keeper import GuardianFailed
from daemon.journal.journal import Listener
from daemon.journal.read import RecordError, read_opening
from daemon.memory import settle_memory
from daemon.night import Bench, CannotResume, Outcome, Voice, resume_night, run_night
from daemon.service.guarding import guardian_of
from daemon.service.orders import Ending, Order, order_of
from daemon.service.spoken import Spoken
from daemon.telemetry.outbox import OutboxError
from daemon.telemetry.settings import MqttAddressError, parse_mqtt_address
from drivers.clock import Clock
from drivers.errors import InstrumentError
from plans.errors import PlanError
from plans.loading import parse_plan
from plans.run_plan import RunPlan

_PATIENCE_S = 5.0
_REASONS = (
    GuardianFailed, InstrumentError, OSError, PlanError, CannotResume, RecordError,
    MqttAddressError, OutboxError,
)  # fmt: skip


def main() -> None:
    """Carry out the order on standard input."""
    order = order_of(sys.stdin.readline())
    with Path(order.lock).open("w", encoding="ascii") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            _say(ending=asdict(Ending(False, False, "", "another process runs this bench")))
            return
        _say(ending=asdict(_carried_out(order)))


def _carried_out(order: Order) -> Ending:
    run = parse_plan(order.plan, order.bench, order.register)
    try:
        spoken = Spoken(_say)
        with _telling(order, run, spoken) as listeners:
            outcome = _night(order, run, listeners, spoken.listen)
    except _REASONS as error:
        return Ending(_has_begun(order), False, "", f"{_what_it_means(order)} {error}")
    cause = outcome.cause
    sentence = f"{cause.guard}: {cause.sentence}" if cause else f"the run is {outcome.state}"
    if outcome.early and not cause:
        sentence = f"the run ended before its plan was done: {outcome.early}"
    summary = _summary(outcome.record)
    return Ending(True, outcome.good, str(outcome.state), sentence, summary, outcome.head)


def _has_begun(order: Order) -> bool:
    return Path(order.record).exists()


def _what_it_means(order: Order) -> str:
    if not _has_begun(order):
        return "Nothing was heated."
    return "The run broke off: go to the bench and look."


def _night(
    order: Order, run: RunPlan, listeners: Sequence[Listener], hand_over: Callable[[Voice], None]
) -> Outcome:
    record = Path(order.record)
    if run.bench.simulation is None:
        return _real_night(order, run, record, listeners, hand_over)
    from daemon.rehearsal import rehearse, resume_rehearsal

    if order.gap_s is None:
        return rehearse(run, record, listeners=listeners, pace=order.pace, hand_over=hand_over).outcome
    return resume_rehearsal(
        run, record, gap_s=order.gap_s, listeners=listeners, pace=order.pace, hand_over=hand_over
    ).outcome


def _real_night(
    order: Order,
    run: RunPlan,
    record: Path,
    listeners: Sequence[Listener],
    hand_over: Callable[[Voice], None],
) -> Outcome:
    problem = computer_problem(record.parent, Clock().utc_s()) if order.gap_s is None else ""
    if problem:
        raise OSError(problem)
    keeper = guardian_of(run, record, drill=order.gap_s is None)
    bench = Bench(Clock(), {}, False, listeners, heart=keeper, said=order.said, hand_over=hand_over)
    settle_memory()
    try:
        if order.gap_s is None:
            return asyncio.run(run_night(run, record, bench))
        return asyncio.run(resume_night(run, record, bench, order.gap_s))
    except (InstrumentError, OSError):
        if not record.exists():
            keeper.disarm()  # no record, no heat: there is nothing to park
        raise


@contextmanager
def _telling(order: Order, run: RunPlan, spoken: Spoken) -> Iterator[Sequence[Listener]]:
    if not order.mqtt:
        yield []
        return
    from daemon.telemetry.telemetry import Telemetry

    opening = None if order.gap_s is None else read_opening(Path(order.record))
    try:
        settings = parse_mqtt_address(order.mqtt, run.bench.name, os.environ)
        hear = spoken.from_afar if order.commands else None
        telemetry = Telemetry(settings, Path(order.outbox), opening=opening, hear=hear)
    except (MqttAddressError, OutboxError) as error:
        if opening is None:
            raise
        # What was broken off may still be hot: it is seen to its end, whoever hears of it.
        print(f"mqtt: {error}", file=sys.stderr)
        yield []
        return
    try:
        yield [telemetry.listener]
    finally:
        telemetry.close(_PATIENCE_S)


def _summary(record: Path) -> list[str]:
    """The report's own words; a report that fails must not hide how the run ended."""
    from daemon.results.report import write_report

    try:
        return write_report(record, record.with_suffix(".report")).lines()
    except Exception as error:  # noqa: BLE001  the record is whole, only its reading failed
        return [f"the report could not be written ({type(error).__name__}: {error})"]


def _say(**words: object) -> None:
    # The daemon may be gone; the run does not depend on being heard.
    try:
        print(json.dumps(words, ensure_ascii=False), flush=True)
    except BrokenPipeError:
        sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115  open until the process ends


if __name__ == "__main__":
    main()
