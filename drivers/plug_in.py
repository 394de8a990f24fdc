"""A plug-in's instrument, in a process of its own: what its code does wrong silences this instrument alone.

The program holds the port, makes every exchange for the plug-in and checks what comes back. A plug-in that
takes longer than its time over its own code, ends, or answers with anything but values of its role is ended,
the call fails, and a later call starts it anew.
"""

from __future__ import annotations

import asyncio
import math
import os
import socket
import subprocess
import sys
import weakref
from collections.abc import Awaitable, Callable, Collection, Mapping
from contextlib import suppress
from dataclasses import replace
from typing import Any

from drivers.clock import Clock
from drivers.errors import BadProfile, GarbledReply, InstrumentError, OutsideLimits, PlugInFault
from drivers.link import Ask, Link
from drivers.plug_in_words import Channel, Garbage, Message, error_of, told_error, value_of
from drivers.quantities import Reading
from drivers.roles import BridgeCapabilities, HeatSourceCapabilities, ScannerCapabilities, SourceStatus
from drivers.turn import Turn

OWN_CODE_S = 2.0
"""What a plug-in may take at once, waiting for the instrument not counted. Common practice, no source."""

LONGEST_WAIT_S, LONGEST_CALL_S = 60.0, 120.0
"""What it may wait for its instrument, once and in one call. Common practice, no source."""

OPENING_S = 20.0
"""Its process starts and imports what it needs in far less."""

ANEW_EVERY_S = 10.0
"""A plug-in that was ended is not started anew more often than that, unless a halt needs it."""

METHODS: Mapping[str, tuple[str, ...]] = {
    "bridge": ("measure",),
    "scanner": ("select", "closed"),
    "readout": ("temperatures",),
    "ambient": ("conditions",),
    "interlocks": ("states",),
    "heat-source": ("status", "write_set_point", "make_safe"),
}
"""What a role cannot do without, beside identify and close; the first one tells a plug-in's role."""

_URGENT = frozenset({"make_safe", "write_heater"})
_CAPABILITIES: Mapping[str, type] = {
    "bridge": BridgeCapabilities,
    "scanner": ScannerCapabilities,
    "heat-source": HeatSourceCapabilities,
}
_GIVES: Mapping[str, type] = {
    "identify": str,
    "status": SourceStatus,
    "measure": Reading,
    "closed": int,
    "temperatures": Mapping,
    "conditions": Mapping,
    "states": Mapping,
}


class _Process:
    """The process of one plug-in, as long as it behaves. Its calls wait, so they belong into a thread."""

    def __init__(self, name: str, link_name: str, *, only_look: bool = False) -> None:
        own, other = socket.socketpair()
        words = [sys.executable, "-m", "drivers.plug_in_process", str(other.fileno()), name]
        with other:
            self._running = subprocess.Popen(
                words,
                env=os.environ | {"PYTHONPATH": os.pathsep.join(one for one in sys.path if one)},
                pass_fds=[other.fileno()],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                start_new_session=True,  # a person's Ctrl-C is for the program, which then ends the plug-in
            )
        self._channel = Channel(own)
        self.end = weakref.finalize(self, _ended, self._running, self._channel)
        first = {"name": link_name, "only_look": only_look}
        zero = {"now_s": 0.0, "utc_s": 0.0, "suspended_s": 0.0, "up": False}
        self.opened = self.hop(first | zero, OPENING_S)

    def hop(self, message: Message, within_s: float | None = None) -> Message:
        """Say something and wait for what comes; PlugInFault when that is nothing good: it is ended then."""
        within_s = OWN_CODE_S if within_s is None else within_s
        try:
            self._channel.send(message)
            return self._channel.receive(within_s)
        except TimeoutError:
            reason = f"gave no answer within {within_s:g} s"
        except Garbage as error:
            reason = f"answered with what is no value of its role ({error})"
        except (EOFError, OSError):
            reason = "ended by itself"
        self.end()
        raise PlugInFault(reason)


def _ended(running: subprocess.Popen[bytes], channel: Channel) -> None:
    channel.close()
    running.kill()
    running.wait()


def look_at(name: str) -> None:
    """Import a plug-in in a process of its own and let it go; raises BadProfile when it cannot be used."""
    process = _process(name, "", only_look=True)
    process.end()


def _process(name: str, link_name: str, *, only_look: bool = False) -> _Process:
    try:
        process = _Process(name, link_name, only_look=only_look)
    except (PlugInFault, OSError) as error:
        raise BadProfile(f"plug-in {name}: its process {error}") from error
    if "failed" in process.opened:
        process.end()
        told = error_of(process.opened["failed"], f"plug-in {name}")
        raise told if isinstance(told, BadProfile) else BadProfile(str(told))
    return process


class PlugInDevice:
    """Has the methods that the plug-in's own object has, and its capabilities."""

    def __init__(
        self,
        name: str,
        link: Link,
        clock: Clock,
        role: str | None,
        limits_c: tuple[float, float] | None = None,
    ) -> None:
        self._name, self._link, self._clock = name, link, clock
        self._process: _Process | None = _process(name, link.name)
        self._turn = Turn()
        self._why_ended, self._anew_at_s = "", -math.inf
        offered = self._process.opened.get("done", {})
        try:
            self._methods = frozenset(_offered(name, offered, role))
            self._keep_capabilities(value_of(offered["capabilities"]), role, limits_c)
        except (Garbage, BadProfile) as error:
            self._process.end()
            raise BadProfile(str(error)) from error
        link.prove = self._prove if offered["proves"] else None

    def __getattr__(self, attribute: str) -> Any:
        if attribute in self.__dict__.get("_methods", ()):
            return _named(self, attribute)
        raise AttributeError(attribute)

    def _keep_capabilities(
        self, shown: object, role: str | None, limits_c: tuple[float, float] | None
    ) -> None:
        wanted = _CAPABILITIES.get(role or _role(self._methods) or "")
        if wanted is not None and not isinstance(shown, wanted):
            raise BadProfile(f"plug-in {self._name}: it needs capabilities, a {wanted.__name__}")
        if isinstance(shown, HeatSourceCapabilities) and limits_c is not None:
            low_c, high_c = max(shown.minimum_c, limits_c[0]), min(shown.maximum_c, limits_c[1])
            shown = replace(shown, minimum_c=low_c, maximum_c=high_c)
        if wanted is not None:
            self.capabilities = shown

    async def close(self) -> None:
        """Let go of the wire; a plug-in that cannot even do that is left alone."""
        if self._process is not None:
            with suppress(InstrumentError):
                await self.call("close")
        if self._process is not None:
            self._process.end()
            self._process = None
        self._link.close()

    async def call(self, method: str, *args: float) -> Any:
        """One call of the plug-in's object; raises InstrumentError, a PlugInFault for what it did wrong.

        Whoever waits for it may give up; the plug-in is heard to the end all the same, or the next question
        would get this one's answer.
        """
        if method == "write_set_point":
            self._check_set_point(*args)
        talk = asyncio.ensure_future(self._call(method, args))
        talk.add_done_callback(lambda done: done.cancelled() or done.exception())
        return await asyncio.shield(talk)

    async def _call(self, method: str, args: tuple[float, ...]) -> Any:
        await self._turn.take(method in _URGENT)
        try:
            if self._process is None:
                await self._begin_anew(at_once=method in _URGENT)
            begun_s = self._clock.monotonic_s()
            answer = await self._converse(
                {"call": method, "args": list(args)}, f"plug-in {self._name}, {method}"
            )
        finally:
            self._turn.give()
        wanted = _GIVES.get(method)
        if wanted is not None and not isinstance(answer, wanted):
            raise PlugInFault(f"plug-in {self._name}, {method}: gave {answer!r}, not a {wanted.__name__}")
        if any(not begun_s <= when_s <= self._clock.monotonic_s() for when_s in _moments(answer)):
            raise PlugInFault(f"plug-in {self._name}, {method}: gave what was not read in this call")
        return answer

    def _check_set_point(self, temperature_c: float) -> None:
        shown: HeatSourceCapabilities = self.capabilities  # type: ignore[assignment]
        if not shown.minimum_c <= temperature_c <= shown.maximum_c:
            raise OutsideLimits(
                f"set-point {temperature_c:g} °C is outside {shown.minimum_c:g} to {shown.maximum_c:g} °C; "
                "nothing was sent"
            )

    async def _begin_anew(self, *, at_once: bool) -> None:
        left_s = self._anew_at_s - self._clock.monotonic_s()
        if left_s > 0 and not at_once:
            raise PlugInFault(f"plug-in {self._name} is started anew in {left_s:.0f} s; it {self._why_ended}")
        self._anew_at_s = self._clock.monotonic_s() + ANEW_EVERY_S
        try:
            self._process = await _in_a_thread(_process, self._name, self._link.name)
        except BadProfile as error:
            raise PlugInFault(str(error)) from error
        self._link.distrust(f"plug-in {self._name} was started anew; it {self._why_ended}")

    async def _converse(self, message: Message, where: str, ask: Ask | None = None) -> Any:
        """Say something to the plug-in and do what it wants until it is done."""
        last_s = self._clock.monotonic_s() + LONGEST_CALL_S
        while True:
            answer = await self._hop(message, where)
            if "done" in answer:
                return self._checked(answer["done"], where)
            if "failed" in answer:
                raise error_of(answer["failed"], where)
            if self._clock.monotonic_s() > last_s:
                self._give_up(f"kept its instrument busy for more than {LONGEST_CALL_S:g} s")
                raise PlugInFault(f"{where}: {self._why_ended}")
            message = await self._do(answer, where, ask)

    async def _hop(self, message: Message, where: str) -> Message:
        process, clock = self._process, self._clock
        if process is None:
            raise PlugInFault(f"{where}: {self._why_ended}")
        now = {"now_s": clock.monotonic_s(), "utc_s": clock.utc_s(), "suspended_s": clock.suspended_s()}
        try:
            answer: Message = await _in_a_thread(process.hop, message | now | {"up": self._link.up})
        except PlugInFault as fault:
            self._give_up(str(fault))
            raise PlugInFault(f"{where}: {fault}") from fault
        for reason in answer.get("distrust") or ():
            self._link.distrust(str(reason))
        return answer

    def _checked(self, told: Any, where: str) -> Any:
        try:
            return value_of(told)
        except Garbage as error:
            raise PlugInFault(f"{where}: {error}") from error

    def _give_up(self, reason: str) -> None:
        if self._process is not None:
            self._process.end()
        self._process, self._why_ended = None, reason
        self._link.distrust(f"plug-in {self._name} {reason}")

    async def _do(self, wanted: Message, where: str, ask: Ask | None) -> Message:
        """What the plug-in asked for, done; or how it failed, for it to make of it what it will."""
        end = _EndOfReply(self, where)
        try:
            match wanted.get("want"):
                case "exchange":
                    data, within_s, earliest_s = (
                        _bytes(wanted),
                        _seconds(wanted, "within_s"),
                        wanted["earliest_s"],
                    )
                    reply = await self._link.exchange(
                        data, end, within_s, earliest_s=float(earliest_s), urgent=bool(wanted["urgent"])
                    )
                case "ask" if ask is not None:
                    reply = await ask(_bytes(wanted), end, _seconds(wanted, "within_s"))
                case "send":
                    await self._link.send(_bytes(wanted), urgent=bool(wanted["urgent"]))
                    reply = b""
                case "sleep":
                    await self._clock.sleep(_seconds(wanted, "seconds"))
                    reply = b""
                case other:
                    raise PlugInFault(f"{where}: wants {other!r}, which there is not")
            return {"answer": reply.decode("latin-1")}
        except (KeyError, TypeError, ValueError) as error:
            return {"error": told_error(PlugInFault(f"{where}: {type(error).__name__}: {error}"))}
        except InstrumentError as error:
            return {"error": told_error(error)}
        finally:
            await end.found()

    async def _prove(self, ask: Ask) -> None:
        await self._converse({"prove": True}, f"plug-in {self._name}, proof of identity", ask)


class _EndOfReply:
    """Where a reply ends, as the plug-in judges it: asked in between, and the line looks again."""

    def __init__(self, device: PlugInDevice, where: str) -> None:
        self._device, self._where = device, where
        self._judged, self._length = -1, 0
        self._wrong = ""
        self._asking: asyncio.Task[None] | None = None

    def __call__(self, got: bytearray) -> int:
        """As `Line` calls it: 0 while it is not known yet; raises GarbledReply."""
        if self._wrong:
            raise GarbledReply(self._wrong)
        if self._length == 0 and self._judged != len(got) and self._asking is None:
            self._asking = asyncio.create_task(self._ask(got))
        return self._length

    async def found(self) -> None:
        """Wait for a judgement under way: the plug-in says one thing at a time."""
        while self._asking is not None:
            await asyncio.wait([self._asking])

    async def _ask(self, got: bytearray) -> None:
        judged, length = len(got), 0
        try:
            answer = await self._device._hop({"judge": got.decode("latin-1")}, self._where)
            if "failed" in answer:
                self._wrong = str(error_of(answer["failed"], self._where))
            elif type(answer.get("length")) is int:
                length = answer["length"]
            else:
                self._wrong = f"{self._where}: no length of a reply"
        except PlugInFault as fault:
            self._wrong = str(fault)
        self._judged, self._length, self._asking = judged, length, None
        self._device._link.look_again()


def _named(device: PlugInDevice, method: str) -> Callable[..., Awaitable[Any]]:
    async def call(*args: float) -> Any:
        return await device.call(method, *args)

    return call


def _offered(name: str, offered: Any, role: str | None) -> list[str]:
    """The methods it has; BadProfile when its role, or the one that it shows, lacks one."""
    has = offered.get("methods") if isinstance(offered, dict) else None
    if not isinstance(has, list) or not all(isinstance(one, str) for one in has):
        raise BadProfile(f"plug-in {name}: does not say what it can do")
    role = role or _role(has)
    if role is None:
        raise BadProfile(f"plug-in {name}: it has no role; drivers/roles.py says what each needs")
    for method in ("identify", *METHODS[role], "close"):
        if method not in has:
            raise BadProfile(f"plug-in {name}: as {role} it needs {method}, and has none")
    return has


def _role(methods: Collection[str]) -> str | None:
    return next((one for one, needed in METHODS.items() if needed[0] in methods), None)


async def _in_a_thread(call: Callable[..., Any], *args: Any) -> Any:
    return await asyncio.get_running_loop().run_in_executor(None, call, *args)


def _moments(answer: object) -> list[float]:
    """When everything in it was read, in s."""
    if isinstance(answer, SourceStatus):
        return [answer.when_s, answer.temperature.when_s, answer.set_point.when_s]
    readings = answer.values() if isinstance(answer, Mapping) else [answer]
    return [one.when_s for one in readings if isinstance(one, Reading)]


def _bytes(wanted: Message) -> bytes:
    return str(wanted["data"]).encode("latin-1")


def _seconds(wanted: Message, key: str) -> float:
    seconds = float(wanted[key])
    if not 0.0 <= seconds <= LONGEST_WAIT_S:
        raise ValueError(f"{key} of {seconds:g} s, allowed 0 to {LONGEST_WAIT_S:g} s")
    return seconds
