"""A late, cut or stray answer costs a reading; it never becomes the answer to another question."""

from __future__ import annotations

import asyncio
from itertools import pairwise

import pytest

from drivers.clock import Clock
from drivers.errors import GarbledReply, LinkLost, NoAnswer, StrayBytes
from drivers.framing import LineFraming
from drivers.line import Line
from drivers.link import Link
from drivers.link_events import Event, LinkState
from drivers.wires.memory import MemoryWire
from simulators.virtual_time import run
from tests.conversation.scripted import Responder

LINE = LineFraming(b"\n", b"\n", 32)


def echo(data: bytes) -> bytes:
    return b"=" + data


async def ask(link: Link, text: bytes, **timing: float) -> bytes:
    return await link.exchange(LINE.wrap(text), LINE.complete, timing.pop("within_s", 1.0), **timing)


def make_link(
    far_end: Responder, *, fresh: bool = True, events: list[Event] | None = None, **settings: float
) -> Link:
    transcript = (lambda event: events.append(event[2])) if events is not None else None
    wire = MemoryWire(far_end, fresh_on_reopen=fresh)
    return Link(Line(wire, Clock(), "test", transcript=transcript, **{"quiet_s": 3.0, **settings}))  # type: ignore[arg-type]


def late_once(far_end: Responder, marker: bytes, delay_s: float) -> None:
    def disturb(data: bytes, replies: list[tuple[float, bytes]]) -> list[tuple[float, bytes]]:
        return [(delay_s, reply) for _, reply in replies] if marker in data else replies

    far_end.disturb = disturb


@pytest.mark.parametrize("fresh", [True, False], ids=["reopened", "drained"])
def test_a_late_answer_is_never_paired_with_the_next_question(fresh: bool) -> None:
    async def main() -> None:
        far_end = Responder(echo)
        link = make_link(far_end, fresh=fresh)
        late_once(far_end, b"slow", 1.5)
        with pytest.raises(NoAnswer):
            await ask(link, b"slow")
        assert link.state is LinkState.DIRTY
        assert await ask(link, b"next") == b"=next\n"

    run(main())


def test_a_drain_lasts_longer_than_the_slowest_answer() -> None:
    async def main() -> None:
        far_end = Responder(echo)
        link = make_link(far_end, fresh=False)
        late_once(far_end, b"slow", 2.9)
        with pytest.raises(NoAnswer):
            await ask(link, b"slow")
        assert await ask(link, b"next") == b"=next\n"
        assert asyncio.get_running_loop().time() == pytest.approx(2.9 + 3.0 + 0.01)

    run(main())


def test_a_link_that_never_falls_silent_is_not_used() -> None:
    async def main() -> None:
        far_end = Responder(echo)
        far_end.disturb = lambda data, replies: [(0.5 * n, b"chatter\n") for n in range(1, 100)]
        link = make_link(far_end, fresh=False)
        with pytest.raises(StrayBytes):
            await ask(link, b"first", earliest_s=2.0)
        with pytest.raises(StrayBytes, match="fall silent"):
            await ask(link, b"second")

    run(main())


def test_a_cancelled_question_leaves_the_link_dirty() -> None:
    async def main() -> None:
        events: list[Event] = []
        link = make_link(Responder(echo, delay_s=0.5), events=events)
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.1):
                await ask(link, b"first")
        assert link.state is LinkState.DIRTY
        assert await ask(link, b"second") == b"=second\n"
        assert Event.CANCELLED in events

    run(main())


def test_bytes_nobody_asked_for_are_told_and_not_used() -> None:
    async def main() -> None:
        far_end = Responder(echo)
        link = make_link(far_end)
        await ask(link, b"first")
        link.line.bytes_came(b"=forged\n")
        with pytest.raises(StrayBytes):
            await ask(link, b"second")
        assert await ask(link, b"third") == b"=third\n"
        assert far_end.said == [b"first\n", b"third\n"]

    run(main())


def test_two_answers_to_one_question_are_no_answer() -> None:
    async def main() -> None:
        far_end = Responder(echo)
        far_end.disturb = lambda data, replies: [(0.01, replies[0][1] * 2)]
        with pytest.raises(StrayBytes):
            await ask(make_link(far_end), b"first")

    run(main())


def test_an_answer_quicker_than_the_conversion_is_refused() -> None:
    async def main() -> None:
        link = make_link(Responder(echo, delay_s=0.1))
        with pytest.raises(StrayBytes):
            await ask(link, b"convert", earliest_s=0.5)

    run(main())


def test_an_endless_line_ends_the_exchange() -> None:
    async def main() -> None:
        with pytest.raises(GarbledReply):
            await ask(make_link(Responder(lambda data: b"x" * 33)), b"first")

    run(main())


def test_one_deadline_covers_a_trickled_answer() -> None:
    async def main() -> None:
        far_end = Responder(echo)
        far_end.disturb = lambda data, replies: [(0.3 * n, b"x") for n in range(1, 20)]
        with pytest.raises(NoAnswer, match="3 bytes"):
            await ask(make_link(far_end), b"first")
        assert asyncio.get_running_loop().time() == pytest.approx(1.0)

    run(main())


def test_questions_are_answered_in_the_order_they_were_asked() -> None:
    async def main() -> None:
        far_end = Responder(echo)
        link = make_link(far_end)
        answers = await asyncio.gather(*(ask(link, b"%d" % n) for n in range(20)))
        assert answers == [b"=%d\n" % n for n in range(20)]
        assert far_end.said == [b"%d\n" % n for n in range(20)]

    run(main())


def test_a_question_given_up_while_queueing_does_not_block_those_behind() -> None:
    async def main() -> None:
        link = make_link(Responder(echo))
        first, second, third = (asyncio.create_task(ask(link, text)) for text in (b"1", b"2", b"3"))
        await asyncio.sleep(0.005)
        second.cancel()
        assert (await first, await third) == (b"=1\n", b"=3\n")

    run(main())


def test_an_absent_instrument_is_tried_less_and_less_often() -> None:
    async def main() -> None:
        attempts: list[float] = []

        def absent(data: bytes) -> bytes:
            attempts.append(asyncio.get_running_loop().time())
            raise ConnectionError("nobody there")

        link = make_link(Responder(absent))
        link.prove = lambda ask: _swallow(ask(b"who\n", LINE.complete, 1.0))
        for _ in range(3000):
            with pytest.raises(LinkLost):
                await ask(link, b"hello")
            await asyncio.sleep(0.01)
        gaps = [later - earlier for earlier, later in pairwise(attempts)]
        assert gaps[:9] == pytest.approx([0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 5.0, 5.0, 5.0], abs=0.02)

    run(main())


async def _swallow(answer: object) -> None:
    await answer  # type: ignore[misc]


def test_a_halt_goes_ahead_of_a_hanging_question_and_of_the_queue() -> None:
    async def main() -> None:
        far_end = Responder(echo)
        far_end.disturb = lambda data, replies: []
        link = make_link(far_end)
        hanging, queueing = asyncio.create_task(ask(link, b"hang")), asyncio.create_task(ask(link, b"queue"))
        await asyncio.sleep(0.2)
        assert link.halt_now(b"OFF\n")
        assert far_end.said == [b"hang\n", b"OFF\n"]
        with pytest.raises(NoAnswer, match="halt"):
            await hanging
        queueing.cancel()

    run(main())


def test_a_halt_never_talks_over_an_answer_on_a_half_duplex_bus() -> None:
    async def main() -> None:
        far_end = Responder(echo, delay_s=0.4)
        link = make_link(far_end, half_duplex=True)
        first, second = asyncio.create_task(ask(link, b"first")), asyncio.create_task(ask(link, b"second"))
        await asyncio.sleep(0.2)
        assert not link.halt_now(b"OFF\n")
        await link.exchange(b"OFF\n", LINE.complete, 1.0, urgent=True)
        assert far_end.said[:2] == [b"first\n", b"OFF\n"]
        await asyncio.gather(first, second)

    run(main())
