"""In scaled time intervals shrink; what bounds the wire and the machine does not."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime, timedelta

import pytest

from drivers.clock import ScaledClock
from drivers.errors import NoAnswer, StrayBytes
from drivers.framing import LineFraming
from drivers.line import Line
from drivers.link import Link
from drivers.wires.memory import MemoryWire
from simulators.virtual_time import run
from tests.conversation.scripted import Responder

FACTOR = 50.0
START = datetime(2026, 1, 15, 17, tzinfo=UTC)
LINE = LineFraming(b"\n", b"\n", 64)


def test_a_scaled_hour_is_over_after_its_part_of_a_real_one() -> None:
    async def main() -> None:
        clock, loop = ScaledClock(FACTOR, START), asyncio.get_running_loop()
        await asyncio.sleep(7.0)
        assert clock.monotonic_s() == 0.0  # it starts with its first use
        await clock.sleep_until(3600.0)
        assert loop.time() == pytest.approx(7.0 + 3600.0 / FACTOR)
        assert clock.monotonic_s() == pytest.approx(3600.0)
        assert clock.utc() - START == pytest.approx(timedelta(hours=1), abs=timedelta(milliseconds=1))

    run(main())


async def asked(answer_s: float, within_s: float, earliest_s: float) -> bytes:
    wire = MemoryWire(Responder(lambda data: b"=1\n", delay_s=answer_s))
    link = Link(Line(wire, ScaledClock(FACTOR, START), "test"))
    return await link.exchange(b"V\n", LINE.complete, within_s, earliest_s=earliest_s)


def test_the_deadline_of_a_reply_stays_in_real_seconds() -> None:
    assert run(asked(0.9, within_s=1.0, earliest_s=0.0)) == b"=1\n"
    with pytest.raises(NoAnswer):
        run(asked(1.1, within_s=1.0, earliest_s=0.0))


def test_the_earliest_moment_of_a_reply_shrinks_with_the_conversion() -> None:
    assert run(asked(1.01 / FACTOR, within_s=1.0, earliest_s=1.0)) == b"=1\n"
    with pytest.raises(StrayBytes, match="too early"):
        run(asked(0.99 / FACTOR, within_s=1.0, earliest_s=1.0))
