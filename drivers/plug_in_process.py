"""The process a plug-in runs in: `python -m drivers.plug_in_process SOCKET NAME`, started by `plug_in.py`.

The plug-in is given a link and a clock that look like the program's own; behind them every exchange and every
wait is asked of the program, which alone holds the port. It ends when the program's end of the socket closes.
"""

from __future__ import annotations

import asyncio
import inspect
import socket
import sys
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from typing import Any

from drivers.errors import GarbledReply, InstrumentError
from drivers.plug_in_points import factory_of
from drivers.plug_in_words import Channel, Message, error_of, plain, told_error
from drivers.roles import BridgeCapabilities, HeatSourceCapabilities, ScannerCapabilities

METHODS = (
    "identify", "close", "measure", "select", "closed", "temperatures", "conditions", "states", "status",
    "write_set_point", "write_ramp", "write_heater", "write_cooling", "make_safe",
)  # fmt: skip
"""All that is ever called."""

Complete = Callable[[bytearray], int]
Ask = Callable[[bytes, Complete, float], Awaitable[bytes]]


class Program:
    """The other end: what is asked of it, and the state it tells with every message."""

    def __init__(self, channel: Channel) -> None:
        self._channel = channel
        self.now_s = self.utc_s = self.suspended_s = 0.0
        self.up = False
        self.distrust: list[str] = []
        self.prove: Callable[[], Awaitable[None]] | None = None

    def next(self) -> Message:
        """The next message, waited for as long as it takes; raises EOFError."""
        message = self._channel.receive(None)
        self.now_s, self.utc_s, self.suspended_s = message["now_s"], message["utc_s"], message["suspended_s"]
        self.up = message["up"]
        return message

    def tell(self, message: Message) -> None:
        """An answer or a question, with what was said of the last reply meanwhile."""
        distrust, self.distrust = self.distrust, []
        self._channel.send(message | {"distrust": distrust})

    async def ask(self, want: str, complete: Complete = len, **words: Any) -> bytes:
        """Have the program do something; raises what that raised there."""
        self.tell({"want": want, **words})
        while True:
            message = self.next()
            if "judge" in message:
                self.tell(_judged(complete, bytearray(message["judge"], "latin-1")))
            elif "prove" in message:
                self.tell(await _tried(self._prove))
            elif "error" in message:
                raise error_of(message["error"], want)
            else:
                return str(message["answer"]).encode("latin-1")

    async def _prove(self) -> None:
        if self.prove is not None:
            await self.prove()


def _judged(complete: Complete, got: bytearray) -> Message:
    try:
        return {"length": int(complete(got))}
    except (Exception, SystemExit) as error:  # noqa: BLE001 - foreign code
        told = (
            error if isinstance(error, InstrumentError) else GarbledReply(f"{type(error).__name__}: {error}")
        )
        return {"failed": told_error(told)}


class Link:
    """What a plug-in asks through; `prove` asks who is there, by the `exchange` that it is handed."""

    def __init__(self, program: Program, name: str) -> None:
        self._program = program
        self.name = name
        program.prove = self._proof
        self.prove: Callable[[Ask], Awaitable[object]] | None = None

    @property
    def up(self) -> bool:
        """True when nothing was opened, drained or doubted since the last reply."""
        return self._program.up

    async def exchange(
        self,
        data: bytes,
        complete: Complete,
        within_s: float,
        *,
        earliest_s: float = 0.0,
        urgent: bool = False,
    ) -> bytes:
        """Ask once and return the complete reply; as the program's own link does."""
        words = {"within_s": within_s, "earliest_s": earliest_s, "urgent": urgent}
        return await self._program.ask("exchange", complete, data=bytes(data).decode("latin-1"), **words)

    async def send(self, data: bytes, *, urgent: bool = False) -> None:
        """Send something that has no reply."""
        await self._program.ask("send", data=bytes(data).decode("latin-1"), urgent=urgent)

    def distrust(self, reason: str) -> None:
        """The last reply failed its check."""
        self._program.distrust.append(str(reason))

    def close(self) -> None:
        """The program lets go of the wire when it has called the plug-in's `close`."""

    async def _proof(self) -> None:
        if self.prove is not None:
            await self.prove(self._ask)

    async def _ask(self, data: bytes, complete: Complete, within_s: float) -> bytes:
        return await self._program.ask("ask", complete, data=bytes(data).decode("latin-1"), within_s=within_s)


class PlugInClock:
    """The program's time as of its last message, simulated or real."""

    def __init__(self, program: Program) -> None:
        self._program = program

    def monotonic_s(self) -> float:
        """Seconds of the program's clock."""
        return self._program.now_s

    def utc_s(self) -> float:
        """UTC in seconds since 1970."""
        return self._program.utc_s

    def utc(self) -> datetime:
        """UTC now."""
        return datetime.fromtimestamp(self._program.utc_s, UTC)

    def suspended_s(self) -> float:
        """Seconds for which the machine slept."""
        return self._program.suspended_s

    async def sleep(self, seconds: float) -> None:
        """Wait on the program's clock."""
        await self._program.ask("sleep", seconds=seconds)

    async def sleep_until(self, when_s: float) -> None:
        """Wait until an instant of the program's clock."""
        await self._program.ask("sleep", seconds=max(0.0, when_s - self._program.now_s))


async def _tried(call: Callable[..., Any], *args: Any) -> Message:
    try:
        answer = call(*args)
        return {"done": plain(await answer if inspect.isawaitable(answer) else answer)}
    except (Exception, SystemExit) as error:
        if isinstance(error, EOFError):
            raise
        return {"failed": told_error(error)}


def _offered(instrument: Any, link: Link) -> Message:
    capabilities = getattr(instrument, "capabilities", None)
    known = isinstance(capabilities, BridgeCapabilities | HeatSourceCapabilities | ScannerCapabilities)
    return {
        "methods": [one for one in METHODS if inspect.isroutine(getattr(instrument, one, None))],
        "capabilities": plain(capabilities) if known else None,
        "proves": link.prove is not None,
    }


async def _serve(program: Program, name: str) -> None:
    first = program.next()
    link = Link(program, str(first["name"]))
    try:
        factory = factory_of(name)
        instrument = None if first["only_look"] else factory(link, PlugInClock(program))
    except (Exception, SystemExit) as error:  # noqa: BLE001 - foreign code
        program.tell({"failed": told_error(error)})
        return
    program.tell({"done": _offered(instrument, link)})
    while True:
        message = program.next()
        program.tell(await _tried(getattr(instrument, message["call"]), *message["args"]))


def main() -> None:
    """Open the plug-in, then do what is asked until the program is gone."""
    number, name = int(sys.argv[1]), sys.argv[2]
    program = Program(Channel(socket.socket(fileno=number)))
    try:
        asyncio.run(_serve(program, name))
    except (EOFError, OSError):
        return


if __name__ == "__main__":
    main()
