"""The jumping loop's own promises: exact clock, bounded and explained runs, nothing real inside."""

from __future__ import annotations

import asyncio
import itertools
import os
import signal
import socket
import threading
from collections.abc import Callable

import pytest

from drivers.clock import Clock
from simulators import virtual_time
from simulators.virtual_time import EndReached, Stuck, VirtualTimeError


def real_seconds(action: Callable[[], object]) -> float:
    """How long `action` really takes, by an ordinary loop's clock."""
    loop = asyncio.new_event_loop()
    started = loop.time()
    action()
    taken = loop.time() - started
    loop.close()
    return taken


def test_fourteen_hours_pass_at_once_and_the_clock_is_exact() -> None:
    async def main() -> float:
        clock = Clock()
        for _ in range(1400):
            await clock.sleep(36.0)
        return clock.monotonic_s()

    ends: list[float] = []
    assert real_seconds(lambda: ends.append(virtual_time.run(main()))) < 5.0
    assert ends == [14 * 3600.0]


def test_a_run_in_which_nothing_can_happen_any_more_names_who_waits_where() -> None:
    async def waits_for_the_bridge() -> None:
        await asyncio.Event().wait()

    async def main() -> None:
        await asyncio.create_task(waits_for_the_bridge(), name="reader of channel 3")

    with pytest.raises(Stuck, match="reader of channel 3 in waits_for_the_bridge"):
        virtual_time.run(main())


def test_a_run_that_never_ends_is_stopped_at_its_end() -> None:
    async def main() -> None:
        for _ in itertools.count():
            await asyncio.sleep(60.0)

    with pytest.raises(EndReached, match="was to end at 3600 s"):
        virtual_time.run(main(), end_s=3600.0)


def test_after_the_end_tasks_may_still_tidy_up() -> None:
    log: list[str] = []

    async def main() -> None:
        await asyncio.sleep(49.0)
        try:
            await asyncio.sleep(100.0)
        finally:
            await asyncio.sleep(5.0)
            log.append("heater off")

    with pytest.raises(EndReached):
        virtual_time.run(main(), end_s=50.0)
    assert log == ["heater off"]


def test_sockets_and_subprocesses_are_refused() -> None:
    async def with_a_socket() -> None:
        left, right = socket.socketpair()
        with left, right:
            asyncio.get_running_loop().add_reader(left, lambda: None)

    async def with_a_subprocess() -> None:
        await asyncio.create_subprocess_exec("true")

    with pytest.raises(VirtualTimeError, match="no real file or socket"):
        virtual_time.run(with_a_socket())
    with pytest.raises(VirtualTimeError, match="no subprocess"):
        virtual_time.run(with_a_subprocess())


def test_the_clock_stands_still_while_a_thread_works() -> None:
    async def main() -> float:
        loop = asyncio.get_running_loop()
        working, done = threading.Event(), threading.Event()
        loop.call_soon(lambda: loop.call_soon(done.set))

        def work() -> None:
            working.set()
            done.wait()

        async with asyncio.timeout(1.0):
            await asyncio.to_thread(work)
        assert working.is_set()
        return loop.time()

    assert virtual_time.run(main()) == 0.0


def test_a_thread_of_ones_own_is_waited_for_when_it_is_declared() -> None:
    async def main() -> float:
        loop = asyncio.get_running_loop()
        assert isinstance(loop, virtual_time.VirtualTimeLoop)
        answer: asyncio.Future[int] = loop.create_future()
        thread = threading.Thread(target=lambda: loop.call_soon_threadsafe(answer.set_result, 42))
        with loop.outside():
            async with asyncio.timeout(1.0):
                thread.start()
                assert await answer == 42
        thread.join()
        return loop.time()

    assert virtual_time.run(main()) == 0.0


def test_a_signal_is_seen_while_the_clock_jumps() -> None:
    async def main() -> float:
        loop = asyncio.get_running_loop()
        halted = asyncio.Event()
        loop.add_signal_handler(signal.SIGTERM, halted.set)
        loop.call_at(100.0, os.kill, os.getpid(), signal.SIGTERM)
        for _ in range(10_000):
            if not halted.is_set():
                await asyncio.sleep(1.0)
        loop.remove_signal_handler(signal.SIGTERM)
        return loop.time()

    assert 100.0 <= virtual_time.run(main()) < 1000.0


def stamps(pace: float | None) -> list[str]:
    async def main() -> list[str]:
        log = []

        async def poll(name: str, period_s: float) -> None:
            for _ in range(20):
                await asyncio.sleep(period_s)
                log.append(f"{name} {asyncio.get_running_loop().time():.3f}")

        async with asyncio.TaskGroup() as group:
            group.create_task(poll("bath", 1.0))
            group.create_task(poll("bridge", 1.3))
        return log

    return virtual_time.run(main(), pace=pace)


def test_a_paced_run_takes_its_time_and_changes_nothing() -> None:
    paced: list[str] = []
    taken = real_seconds(lambda: paced.extend(stamps(pace=260.0)))
    assert paced == stamps(pace=None)
    assert 0.09 < taken < 5.0


@pytest.mark.parametrize("pace", [0.0, -1.0, float("nan"), float("inf")])
def test_a_pace_that_is_no_pace_is_refused(pace: float) -> None:
    with pytest.raises(ValueError, match="pace is a positive number"):
        virtual_time.run(asyncio.sleep(1.0), pace=pace)


def test_groups_cancel_their_children_in_the_same_order_in_every_run() -> None:
    def order() -> list[int]:
        log: list[int] = []

        async def child(number: int) -> None:
            try:
                await asyncio.sleep(1000.0)
            finally:
                log.append(number)

        async def main() -> None:
            try:
                async with asyncio.TaskGroup() as group:
                    for number in range(30):
                        group.create_task(child(number))
                    await asyncio.sleep(1.0)
                    raise ValueError("halt")
            except* ValueError:
                log.append(-1)

        virtual_time.run(main())
        return log

    first = order()
    assert sorted(first) == list(range(-1, 30))
    assert all(order() == first for _ in range(5))


def test_a_deadline_far_ahead_is_reached_exactly() -> None:
    async def main() -> float:
        await asyncio.sleep(1e9)
        await asyncio.sleep(0.1)
        return asyncio.get_running_loop().time()

    assert virtual_time.run(main()) == 1e9 + 0.1
