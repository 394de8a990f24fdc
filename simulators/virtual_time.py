"""An event loop whose clock jumps: nights of waiting pass in seconds, through the ordinary asyncio code.

The clock starts at 0 s and moves only when nothing is ready, exactly to the next deadline. Equal
deadlines fire in the order they were made. A simulated run owns no socket, pipe or subprocess; work
in threads is counted, and the clock stands still until it is back.
"""

from __future__ import annotations

import asyncio
import heapq
import itertools
import math
import selectors
from collections.abc import Callable, Coroutine, Generator, Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from contextvars import Context
from typing import Any, TypeVar, TypeVarTuple

T = TypeVar("T")
Ts = TypeVarTuple("Ts")

CLOCK_RESOLUTION_S = 1e-6
OUTSIDE_PATIENCE_S = 30.0
CLEAN_UP_ALLOWANCE_S = 3600.0
# Odd, because select calls tend to alternate between two branches and an even number may meet only one.
POLL_EVERY = 255


class VirtualTimeError(RuntimeError):
    """The run cannot go on in virtual time; the message says why."""


class Stuck(VirtualTimeError):
    """Every task waits for something that nothing can bring any more."""


class EndReached(VirtualTimeError):
    """The next deadline lies beyond the end of the run."""


class OrderedTask(asyncio.Task[T]):
    """A task whose hash is a running number, so that sets of tasks have the same order in every run."""

    def __init__(self, number: int, coro: Any, **kwargs: Any) -> None:
        self._number = number  # first, because the base class already puts the task into a set
        super().__init__(coro, **kwargs)

    def __hash__(self) -> int:
        return self._number


class OrderedTasks:
    """A task factory for one loop (`loop.set_task_factory`), numbering from 0."""

    def __init__(self) -> None:
        self._numbers = itertools.count()

    def __call__(
        self,
        loop: asyncio.AbstractEventLoop,
        coro: Coroutine[Any, Any, T] | Generator[Any, None, T],
        **kwargs: Any,
    ) -> OrderedTask[T]:
        return OrderedTask(next(self._numbers), coro, loop=loop, **kwargs)


class OrderedTimer(asyncio.TimerHandle):
    """A timer that keeps its place among equal deadlines."""

    __slots__ = ("number",)
    _when: float
    _scheduled: bool
    number: int

    def __lt__(self, other: object) -> bool:
        if not isinstance(other, OrderedTimer):
            return NotImplemented
        return self._when < other._when or (self._when == other._when and self.number < other.number)


class JumpingSelector(selectors.DefaultSelector):
    """Moves the loop's clock instead of waiting."""

    def __init__(self) -> None:
        super().__init__()
        self.loop: VirtualTimeLoop | None = None
        self._calls = 0

    def register(self, fileobj: Any, events: int, data: Any = None) -> selectors.SelectorKey:
        if self.get_map():  # the loop's own wake-up socket is the first and the only one
            raise VirtualTimeError(f"no real file or socket in virtual time ({fileobj!r} was to be watched)")
        return super().register(fileobj, events, data)

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        loop = self.loop
        if loop is None or loop.outside_work:
            return self._wait_for_outside(timeout)
        self._calls += 1
        if self._calls % POLL_EVERY == 0 and (events := super().select(0)):
            return events
        if timeout == 0:
            return []
        if timeout is None:
            return super().select(0) or loop.stuck()
        return self._wait_for_pace(loop) or loop.jump()

    def _wait_for_outside(self, timeout: float | None) -> list[tuple[selectors.SelectorKey, int]]:
        if timeout == 0:
            return super().select(0)
        events = super().select(OUTSIDE_PATIENCE_S)
        if not events:
            raise VirtualTimeError(f"work in a thread did not come back within {OUTSIDE_PATIENCE_S:g} s")
        return events

    def _wait_for_pace(self, loop: VirtualTimeLoop) -> list[tuple[selectors.SelectorKey, int]]:
        wait_s = loop.real_wait_s()
        return super().select(wait_s) if wait_s > 0 else []


class VirtualTimeLoop(asyncio.SelectorEventLoop):
    """The loop; `end_s` bounds the run, `pace` (simulated seconds per real second) slows it for watching."""

    _scheduled: list[OrderedTimer]
    _check_closed: Callable[[], None]

    def __init__(self, end_s: float = math.inf, pace: float | None = None) -> None:
        self._now_s = 0.0
        self._end_s = end_s
        self._numbers = itertools.count()
        self.outside_work = 0
        selector = JumpingSelector()
        super().__init__(selector)
        self.keep_pace(pace)
        self._clock_resolution = CLOCK_RESOLUTION_S
        self.set_task_factory(OrderedTasks())
        selector.loop = self

    def keep_pace(self, pace: float | None) -> None:
        """From now on so many simulated seconds pass in a real one; None for as fast as it goes."""
        self._pace = pace
        self._real_start_s = super().time() - (self._now_s / pace if pace is not None else 0.0)

    def time(self) -> float:
        """Simulated seconds since the loop was made."""
        return self._now_s

    def call_at(
        self, when: float, callback: Callable[[*Ts], object], *args: *Ts, context: Context | None = None
    ) -> OrderedTimer:
        """As asyncio's, with a place among equal deadlines."""
        self._check_closed()
        timer = OrderedTimer(when, callback, args, self, context)
        timer.number = next(self._numbers)
        heapq.heappush(self._scheduled, timer)
        timer._scheduled = True
        return timer

    def jump(self) -> list[tuple[selectors.SelectorKey, int]]:
        """Move the clock to the next deadline; EndReached when that is beyond the end."""
        when_s = self._scheduled[0]._when
        if when_s > self._end_s:
            end_s, self._end_s = self._end_s, self._end_s + CLEAN_UP_ALLOWANCE_S
            raise EndReached(
                f"the run was to end at {end_s:g} s, but the next thing due is at {when_s:g} s"
                f" (at {self._now_s:g} s waited: {_waiting(self)})"
            )
        self._now_s = when_s
        return []

    def stuck(self) -> list[tuple[selectors.SelectorKey, int]]:
        """Raise Stuck, naming the tasks that wait."""
        raise Stuck(f"at {self._now_s:g} s nothing can happen any more; waiting: {_waiting(self)}")

    def real_wait_s(self) -> float:
        """How long to wait before the next jump, in real seconds, to keep the pace."""
        if self._pace is None:
            return 0.0
        return self._real_start_s + self._scheduled[0]._when / self._pace - super().time()

    @contextmanager
    def outside(self) -> Iterator[None]:
        """Declare work outside the loop (a thread that will call back): the clock stands still meanwhile."""
        self.outside_work += 1
        try:
            yield
        finally:
            self.outside_work -= 1

    def run_in_executor(
        self, executor: Executor | None, func: Callable[[*Ts], T], *args: *Ts
    ) -> asyncio.Future[T]:
        """As asyncio's; the clock stands still until the call is back."""
        future = super().run_in_executor(executor, func, *args)
        self.outside_work += 1
        future.add_done_callback(self._came_back)
        return future

    def _came_back(self, _: asyncio.Future[Any]) -> None:
        self.outside_work -= 1

    async def shutdown_default_executor(self, *args: Any, **kwargs: Any) -> None:
        """As asyncio's; counted as outside work."""
        with self.outside():
            await super().shutdown_default_executor(*args, **kwargs)

    async def _make_subprocess_transport(self, *args: Any, **kwargs: Any) -> asyncio.SubprocessTransport:
        raise VirtualTimeError("no subprocess in virtual time")


def _waiting(loop: asyncio.AbstractEventLoop) -> str:
    tasks = sorted(asyncio.all_tasks(loop), key=hash)
    return "; ".join(_place(task) for task in tasks) or "no task"


def _place(task: asyncio.Task[Any]) -> str:
    frames = task.get_stack(limit=1)
    if not frames:
        return task.get_name()
    code = frames[-1].f_code
    return f"{task.get_name()} in {code.co_name} (line {frames[-1].f_lineno})"


def run(main: Coroutine[Any, Any, T], *, end_s: float = math.inf, pace: float | None = None) -> T:
    """Run `main` to its end in virtual time and clean up as `asyncio.run` does.

    Raises Stuck when everything waits for ever, EndReached when time passes `end_s` seconds, ValueError
    for a pace that is no pace.
    """
    if pace is not None and not (0.0 < pace < math.inf):
        main.close()
        raise ValueError(f"pace is a positive number of simulated seconds per real second, not {pace!r}")
    with asyncio.Runner(loop_factory=lambda: VirtualTimeLoop(end_s, pace)) as runner:
        return runner.run(main)
