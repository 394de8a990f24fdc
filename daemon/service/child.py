"""The daemon's end of a bench's process: start it, say words to it, hear how it ended."""

from __future__ import annotations

import asyncio
import json
import os
import subprocess
import sys
import threading
from contextlib import suppress
from pathlib import Path
from typing import Any

import daemon
from daemon.service.orders import Ending, Order

_ANSWER_S = 5.0
_MODULE = "daemon.service.bench_process"


class NoAnswer(Exception):
    """The bench's process did not take a word in time."""


class Child:
    """One bench's process, in a session of its own: a signal to the daemon does not reach it.

    A plain process and a listening thread, since asyncio's own subprocess kills its process when the daemon
    ends; this one is to halt its run first.
    """

    def __init__(self, order: Order, complaints: Path) -> None:
        """Start it and give it its order; what it complains of goes to a file. Raises OSError."""
        self._loop = asyncio.get_running_loop()
        with complaints.open("ab") as file:
            self._process = subprocess.Popen(
                [sys.executable, "-m", _MODULE],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=file,
                start_new_session=True,
                env=os.environ | {"PYTHONPATH": _search_path()},
            )
        self._number = 0
        self._answers: dict[int, asyncio.Future[bool]] = {}
        self._ending: Ending | None = None
        self._gone: asyncio.Future[int] = self._loop.create_future()
        self.begun = asyncio.Event()
        self._send(order.line())
        threading.Thread(target=self._listen, name="bench", daemon=True).start()

    @property
    def pid(self) -> int:
        """Its process number."""
        return self._process.pid

    async def ended(self) -> Ending:
        """Wait until the process is gone; how the run ended, or that the process broke off."""
        code = await self._gone
        for waiting in self._answers.values():
            if not waiting.done():
                waiting.set_result(False)
        if self._ending is not None:
            return self._ending
        return Ending(self.begun.is_set(), False, "", f"the bench's process broke off (exit code {code})")

    async def word(self, word: str, who: str, reason: str) -> bool:
        """Say an operator's word; whether it had an effect. Raises NoAnswer."""
        self._number += 1
        number = self._number
        answer: asyncio.Future[bool] = self._loop.create_future()
        self._answers[number] = answer
        words = {"number": number, "word": word, "who": who, "reason": reason}
        try:
            self._send(json.dumps(words, ensure_ascii=False))
            async with asyncio.timeout(_ANSWER_S):
                return await answer
        except (TimeoutError, OSError, ValueError) as error:
            raise NoAnswer("the bench's process does not answer; use the bench's own switch") from error
        finally:
            del self._answers[number]

    def leave(self) -> None:
        """Say nothing more: a run that has begun, or is about to, halts then."""
        assert self._process.stdin is not None
        with suppress(OSError):
            self._process.stdin.close()

    def _send(self, line: str) -> None:
        # A few hundred bytes now and then into an empty pipe: this does not block.
        assert self._process.stdin is not None
        with suppress(BrokenPipeError):
            self._process.stdin.write(line.encode() + b"\n")
            self._process.stdin.flush()

    def _listen(self) -> None:
        assert self._process.stdout is not None
        with self._process.stdout as said:
            for line in said:
                self._pass_on(self._hear, line)
        self._pass_on(self._is_gone, self._process.wait())

    def _pass_on(self, function: Any, value: Any) -> None:
        with suppress(RuntimeError):  # the daemon's loop has ended; the run goes on to its halt
            self._loop.call_soon_threadsafe(function, value)

    def _hear(self, line: bytes) -> None:
        words: dict[str, Any] = {}
        with suppress(ValueError):
            words = json.loads(line)
        answer = self._answers.get(words.get("number", 0))
        if answer is not None and not answer.done():
            answer.set_result(bool(words["effect"]))
        if "begun" in words:
            self.begun.set()
        if "ending" in words:
            self._ending = Ending(**words["ending"])

    def _is_gone(self, code: int) -> None:
        if not self._gone.done():
            self._gone.set_result(code)


def _search_path() -> str:
    root = str(Path(daemon.__file__).parents[1])
    return os.pathsep.join(filter(None, (root, os.environ.get("PYTHONPATH", ""))))
