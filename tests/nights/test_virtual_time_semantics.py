"""Sixteen situations in which the jumping loop must do exactly what asyncio's own loop does.

The expected lists were checked against the ordinary loop with real waiting.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

import pytest

from simulators import virtual_time

Log = list[str]
Scenario = Callable[[Log], Awaitable[None]]
TICK_S = 0.1


async def nested_timeouts(log: Log) -> None:
    try:
        async with asyncio.timeout(3 * TICK_S):
            try:
                async with asyncio.timeout(TICK_S):
                    await asyncio.sleep(5 * TICK_S)
            except TimeoutError:
                log.append("inner")
            await asyncio.sleep(5 * TICK_S)
    except TimeoutError:
        log.append("outer")


async def timeout_of_zero(log: Log) -> None:
    try:
        async with asyncio.timeout(0):
            log.append("body begins")
            await asyncio.sleep(0)
            await asyncio.sleep(0)
            log.append("body ends")
    except TimeoutError:
        log.append("timeout")


async def wait_for_in_time(log: Log) -> None:
    log.append(await asyncio.wait_for(asyncio.sleep(TICK_S, "result"), 2 * TICK_S))


async def wait_for_too_late(log: Log) -> None:
    try:
        await asyncio.wait_for(asyncio.sleep(2 * TICK_S), TICK_S)
    except TimeoutError:
        log.append("late")


async def cancelled_while_waiting_for_a_lock(log: Log) -> None:
    lock = asyncio.Lock()

    async def holder() -> None:
        async with lock:
            await asyncio.sleep(3 * TICK_S)

    async def waiter(name: str) -> None:
        try:
            async with lock:
                log.append(f"{name} has it")
        except asyncio.CancelledError:
            log.append(f"{name} cancelled")
            raise

    tasks = [asyncio.create_task(c) for c in (holder(), waiter("a"), waiter("b"))]
    await asyncio.sleep(TICK_S)
    tasks[1].cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    log.append(f"locked: {lock.locked()}")


async def shielded_work(log: Log) -> None:
    async def work() -> None:
        await asyncio.sleep(2 * TICK_S)
        log.append("work done")

    inner = asyncio.create_task(work())
    try:
        await asyncio.wait_for(asyncio.shield(inner), TICK_S)
    except TimeoutError:
        log.append("gave up waiting")
    await inner


async def group_with_an_error(log: Log) -> None:
    async def sibling(name: str) -> None:
        try:
            await asyncio.sleep(10 * TICK_S)
        finally:
            await asyncio.sleep(0)
            log.append(f"{name} tidied up")

    async def breaks() -> None:
        await asyncio.sleep(TICK_S)
        raise ValueError("broken")

    try:
        async with asyncio.TaskGroup() as group:
            for name in "ab":
                group.create_task(sibling(name))
            group.create_task(breaks())
    except* ValueError as errors:
        log.append(str(errors.exceptions[0]))


async def bounded_queue(log: Log) -> None:
    queue: asyncio.Queue[int] = asyncio.Queue(maxsize=2)

    async def producer() -> None:
        for number in range(4):
            await queue.put(number)
            log.append(f"put {number}")

    task = asyncio.create_task(producer())
    for _ in range(4):
        await asyncio.sleep(TICK_S)
        log.append(f"got {await queue.get()}")
    await task


async def equal_deadlines(log: Log) -> None:
    async def sleeper(number: int) -> None:
        await asyncio.sleep(TICK_S)
        log.append(str(number))

    await asyncio.gather(*(sleeper(number) for number in range(12)))


async def reply_and_timeout_together(log: Log) -> None:
    loop = asyncio.get_running_loop()
    due = loop.time() + TICK_S
    reply: asyncio.Future[str] = loop.create_future()
    loop.call_at(due, reply.set_result, "reply")
    try:
        async with asyncio.timeout_at(due):
            log.append(await reply)
    except TimeoutError:
        log.append("timeout")


async def timeout_moved(log: Log) -> None:
    loop = asyncio.get_running_loop()
    try:
        async with asyncio.timeout(TICK_S) as limit:
            limit.reschedule(loop.time() + 3 * TICK_S)
            await asyncio.sleep(2 * TICK_S)
            log.append("still inside")
            await asyncio.sleep(2 * TICK_S)
    except TimeoutError:
        log.append("timeout")


async def cancel_with_a_message(log: Log) -> None:
    async def work() -> None:
        try:
            await asyncio.sleep(10 * TICK_S)
        except asyncio.CancelledError as cancelled:
            log.append(str(cancelled.args))
            raise

    task = asyncio.create_task(work())
    await asyncio.sleep(TICK_S)
    task.cancel("halt")
    await asyncio.wait([task])
    log.append(f"cancelled: {task.cancelled()}")


async def first_of_several(log: Log) -> None:
    async def named(name: str, ticks: int) -> str:
        await asyncio.sleep(ticks * TICK_S)
        return name

    tasks = [asyncio.create_task(named(name, n)) for n, name in enumerate(("one", "two", "three"), 1)]
    done, pending = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    log.extend(task.result() for task in done)
    log.append(f"{len(pending)} pending")
    for task in pending:
        task.cancel()
    await asyncio.gather(*pending, return_exceptions=True)


async def fifty_bare_yields(log: Log) -> None:
    async def yields(name: str, count: int) -> None:
        for _ in range(count):
            await asyncio.sleep(0)
        log.append(name)

    started = asyncio.get_running_loop().time()
    await asyncio.gather(yields("fifty", 50), yields("ten", 10))
    log.append(f"under a tick: {asyncio.get_running_loop().time() - started < TICK_S}")


async def cancelled_timer(log: Log) -> None:
    loop = asyncio.get_running_loop()
    first = loop.call_later(TICK_S, log.append, "never")
    loop.call_later(2 * TICK_S, log.append, "kept")
    first.cancel()
    await asyncio.sleep(3 * TICK_S)


async def event_wakes_all_in_order(log: Log) -> None:
    event = asyncio.Event()

    async def waiter(name: str) -> None:
        await event.wait()
        log.append(name)

    tasks = [asyncio.create_task(waiter(name)) for name in "abc"]
    asyncio.get_running_loop().call_later(TICK_S, event.set)
    await asyncio.gather(*tasks)


EXPECTED: list[tuple[Scenario, Log]] = [
    (nested_timeouts, ["inner", "outer"]),
    (timeout_of_zero, ["body begins", "timeout"]),
    (wait_for_in_time, ["result"]),
    (wait_for_too_late, ["late"]),
    (cancelled_while_waiting_for_a_lock, ["a cancelled", "b has it", "locked: False"]),
    (shielded_work, ["gave up waiting", "work done"]),
    (group_with_an_error, ["a tidied up", "b tidied up", "broken"]),
    (bounded_queue, ["put 0", "put 1", "got 0", "put 2", "got 1", "put 3", "got 2", "got 3"]),
    (equal_deadlines, [str(number) for number in range(12)]),
    (reply_and_timeout_together, ["timeout"]),
    (timeout_moved, ["still inside", "timeout"]),
    (cancel_with_a_message, ["('halt',)", "cancelled: True"]),
    (first_of_several, ["one", "2 pending"]),
    (fifty_bare_yields, ["ten", "fifty", "under a tick: True"]),
    (cancelled_timer, ["kept"]),
    (event_wakes_all_in_order, ["a", "b", "c"]),
]


@pytest.mark.parametrize(("scenario", "expected"), EXPECTED, ids=lambda value: getattr(value, "__name__", ""))
def test_the_jumping_loop_does_what_the_ordinary_loop_does(scenario: Scenario, expected: Log) -> None:
    log: Log = []

    async def main() -> None:
        await scenario(log)

    virtual_time.run(main())
    assert log == expected
